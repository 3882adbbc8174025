"""Binary telemetry of fixed-length frames: checksums, the frame's layout, and finding the frames."""
