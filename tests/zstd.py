"""The zstd of Python 3.14 and later, or its copy for earlier ones."""

import sys

if sys.version_info >= (3, 14):
    from compression.zstd import ZstdDecompressor, decompress
else:
    from backports.zstd import ZstdDecompressor, decompress

__all__ = ["ZstdDecompressor", "decompress"]
