"""What a shop keeps of its sessions: reading one back, the list of all of them, a coil's history, moving them elsewhere."""
