"""What comes from outside, under fuzzers: payloads, plant files, readings files."""
