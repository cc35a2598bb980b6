"""Following a drive while the rig runs: blows as they come, depths as they are called out, and the standing."""
