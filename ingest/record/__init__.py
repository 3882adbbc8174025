"""Live capture: sources that only listen, the recording file and its recovery, the session that joins them."""
