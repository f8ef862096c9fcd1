"""A session's samples: how often they are kept, packed in blocks, with checksums that tell damage."""
