"""Evidence by hash: the bytes of each photo, stored once; and jobs sealed into bags that anybody can verify.

* ``archive``: photo bytes under their SHA-256, in a folder; ``object_archive``, ``bucket``: in an object store; ``carried``: in
  memory; ``place``: which.
* ``keys``: the shop's key, made on first use, backed up, handed over.
* ``bag``, ``bag_*``, ``faults``: bags by RFC 8493, as folder or zip file, written and checked.
* ``without_position``, ``exif_blank``, ``heic_blank``: copies of photos that do not tell where they were taken.
* ``shop_fit_file``: the signed file of a shop's own fit, in the store's folder and in bags.
* ``statement``: the files of a seal as models: what is signed, entries with proofs, photos, models, keys.
* ``seal``, ``job_seal``: plain data into a signed bag; what the log holds of a job into plain data.
* ``verify``: the three depths; ``sequence`` holds the log's entries against the tree, ``bindings`` and ``story_check``
  what is shown against the entries.
* ``timestamp``: timestamps of others (RFC 3161).
* ``check.html``: compares the hashes in a browser; goes into every bag.

What one bag cannot show: entries since the last seal that were dropped or written anew before this one, a second log kept
beside, entries at the end that were left out, the true time. An older bag that somebody else kept shows the first three, a
timestamp the last; `verify` says so.

`verify` and what it needs never import the store's database.
"""

from prepcheck.archive.archive import Archive, FolderArchive
from prepcheck.archive.place import open_archive

__all__ = ["Archive", "FolderArchive", "open_archive"]
