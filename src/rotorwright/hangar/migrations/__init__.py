"""How an older database of the hangar becomes a newer one."""
