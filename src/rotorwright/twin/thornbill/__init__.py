"""Thornbill, the invented firmware family of the demo: releases, boards, settings, images."""
