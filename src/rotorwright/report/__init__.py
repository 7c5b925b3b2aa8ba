"""The record for people."""
