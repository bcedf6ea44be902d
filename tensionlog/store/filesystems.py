"""Tell whether a path lies on a network file system, where WAL damages databases.

The write-ahead log needs memory shared between processes, which no network file system
gives (SQLite documentation, "Write-Ahead Logging", disadvantages). Only Linux lets us
look; elsewhere nothing is refused.
"""

from pathlib import Path
from typing import Final

NETWORK: Final = frozenset(
    "9p afs ceph cifs coda davfs fuse.ceph fuse.davfs fuse.glusterfs fuse.rclone fuse.s3fs "
    "fuse.sshfs gfs2 glusterfs lustre ncpfs nfs nfs4 smb3 smbfs virtiofs".split()
)
"""File system types whose disk belongs to another computer."""

_MOUNTS: Final = Path("/proc/self/mountinfo")


def network_type(path: Path) -> str | None:
    """Type of the network file system that holds `path`, or None on a local one."""
    try:
        mounts = _MOUNTS.read_text(encoding="utf-8", errors="surrogateescape")
    except OSError:
        return None
    found = file_system_type(str(path.resolve()), mounts)
    return found if found in NETWORK else None


def file_system_type(path: str, mountinfo: str) -> str | None:
    """Type of the file system that holds the absolute `path`.

    Args:
        path: Absolute and free of links.
        mountinfo: Lines as in Linux's `/proc/self/mountinfo`.

    >>> file_system_type("/srv/a.db", "36 35 0:3 / /srv rw - nfs4 box:/ rw")
    'nfs4'
    """
    best, best_type = "", None
    for line in mountinfo.splitlines():
        # man proc: ids, device, root, mount point, options, optional fields, "-", type
        left, dash, right = line.partition(" - ")
        fields = left.split()
        if not dash or len(fields) < 5 or not right.split():
            continue
        mount = _unescaped(fields[4])
        # `>=`: of two mounts on one point the later hides the earlier.
        if _holds(mount, path) and len(mount) >= len(best):
            best, best_type = mount, right.split()[0]
    return best_type


def _holds(mount: str, path: str) -> bool:
    return path == mount or path.startswith(mount.rstrip("/") + "/")


def _unescaped(field: str) -> str:
    for code, character in (("040", " "), ("011", "\t"), ("012", "\n"), ("134", "\\")):
        field = field.replace(f"\\{code}", character)
    return field
