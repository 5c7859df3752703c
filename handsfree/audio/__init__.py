"""Files and microphone in, blocks out; blocks in, segments of speech out."""
