"""The whole installation as one file, database and photos, and back.

``database.dump`` is PostgreSQL's own archive, ``photos/`` the photo folder, ``photos.jsonl`` the SHA-256 of each of its
files, and ``manifest.json``, written last, the SHA-256 of every table's content in the snapshot that was dumped.
"""
