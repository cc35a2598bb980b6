"""Following a drive as the pile is driven: blows as they are recorded, depths as they are called out, and status."""
