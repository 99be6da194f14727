"""What would catch the escapes."""
