"""What has the whole refit saved, where does the aircraft balance, which part is next."""
