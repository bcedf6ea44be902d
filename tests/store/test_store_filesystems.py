"""Network disks are told from the lines that Linux gives; canned here."""

import pytest

from tensionlog.store import filesystems
from tensionlog.store.filesystems import NETWORK, file_system_type, network_type

MOUNTS = r"""
22 27 0:21 / /proc rw,relatime - proc proc rw
27 1 254:0 / / rw,relatime - ext4 /dev/vda rw
40 27 0:50 / /mnt/nas rw,relatime shared:7 - nfs4 nas:/export rw,vers=4.2
41 40 0:51 / /mnt/nas/local rw - xfs /dev/sdb1 rw
42 27 0:52 / /mnt/win\040share rw - cifs //server/share rw
43 27 0:53 / /mnt/tab\011and\134slash rw - 9p host rw
44 27 0:54 / /mnt/key rw - fuse.sshfs user@host: rw
45 27 0:55 / /mnt/vm rw - virtiofs tag rw
46 27 0:56 / /mnt/smb rw - smb3 //server/other rw
47 27 0:57 / /mnt/twice rw - nfs old:/ rw
48 27 0:58 / /mnt/twice rw - ext4 /dev/sdc1 rw
cut short
49 27 0:59 / /mnt/odd rw -
"""


@pytest.mark.parametrize(
    ("path", "kind"),
    [
        ("/home/a/b.db", "ext4"),
        ("/mnt/nas/b.db", "nfs4"),
        ("/mnt/nas", "nfs4"),
        ("/mnt/nasty/b.db", "ext4"),
        ("/mnt/nas/local/b.db", "xfs"),
        ("/mnt/win share/b.db", "cifs"),
        ("/mnt/tab\tand\\slash/b.db", "9p"),
        ("/mnt/key/b.db", "fuse.sshfs"),
        ("/mnt/vm/b.db", "virtiofs"),
        ("/mnt/smb/b.db", "smb3"),
        ("/mnt/twice/b.db", "ext4"),
    ],
)
def test_the_deepest_and_latest_mount_holds_a_path(path, kind):
    assert file_system_type(path, MOUNTS) == kind


def test_without_a_mount_nothing_is_known():
    assert file_system_type("/a", "") is None


@pytest.mark.parametrize(
    "kind", ["nfs", "nfs4", "cifs", "smb3", "9p", "fuse.sshfs", "virtiofs"]
)
def test_these_are_network_disks(kind):
    assert kind in NETWORK


@pytest.fixture
def mounts(tmp_path, monkeypatch):
    canned = tmp_path / "mountinfo"
    monkeypatch.setattr(filesystems, "_MOUNTS", canned)
    return canned


def test_a_network_disk_is_named(mounts, tmp_path):
    mounts.write_text(f"1 1 0:1 / {tmp_path.resolve()} rw - nfs4 nas:/ rw\n")

    assert network_type(tmp_path / "not there yet.db") == "nfs4"


def test_a_link_is_followed_to_where_it_leads(mounts, tmp_path):
    (tmp_path / "nas").mkdir()
    (tmp_path / "link").symlink_to(tmp_path / "nas")
    mounts.write_text(f"1 1 0:1 / {tmp_path.resolve()}/nas rw - cifs //a/b rw\n")

    assert network_type(tmp_path / "link" / "a.db") == "cifs"


def test_a_local_disk_is_not_refused(mounts, tmp_path):
    mounts.write_text("1 1 0:1 / / rw - ext4 /dev/sda rw\n")

    assert network_type(tmp_path / "a.db") is None


def test_where_there_is_no_mount_table_nothing_is_refused(mounts, tmp_path):
    assert not mounts.exists()
    assert network_type(tmp_path / "a.db") is None
