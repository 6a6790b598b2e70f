//! Whether a file lies on a network drive, where a write-ahead log does not work: it needs memory that all
//! programs share.
//!
//! Decides: by the kind of the file system on Linux, by the form of the path on Windows.
//! Assumes: a drive that is none of these is a disk of this machine. A macOS share is not told from one.
//! Never: opens the file.

use std::path::Path;

/// Kinds of file systems that other machines may have open too (from memory, as Linux names them).
const KINDS: [&str; 14] = [
    "9p",
    "afs",
    "beegfs",
    "ceph",
    "cifs",
    "fuse.glusterfs",
    "fuse.rclone",
    "fuse.sshfs",
    "gfs2",
    "lustre",
    "nfs",
    "nfs4",
    "smb3",
    "smbfs",
];

/// Does this path lie on one?
pub fn is_on_network(path: &Path) -> bool {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let Ok(folder) = folder.canonicalize() else { return false };
    let shown = folder.to_string_lossy();
    if shown.starts_with(r"\\?\UNC\") || (shown.starts_with(r"\\") && !shown.starts_with(r"\\?\")) {
        return true;
    }
    std::fs::read_to_string("/proc/self/mountinfo")
        .is_ok_and(|mounts| kind(&mounts, &shown).is_some_and(|kind| KINDS.contains(&kind)))
}

/// The kind of the file system a folder lies on: that of the longest mount point above it, and the latest
/// where one covers another (proc(5), `/proc/pid/mountinfo`).
fn kind<'m>(mounts: &'m str, folder: &str) -> Option<&'m str> {
    let mount = |line: &'m str| {
        let (place, kind) = line.split_once(" - ")?;
        let point = place.split(' ').nth(4)?.replace("\\040", " ");
        let is_above = Path::new(folder).starts_with(&point);
        is_above.then(|| (point.len(), kind.split(' ').next().unwrap_or_default()))
    };
    mounts.lines().filter_map(mount).max_by_key(|(length, _)| *length).map(|(_, kind)| kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Lines in the form of proc(5); invented places.
    const MOUNTS: &str = "22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw\n\
        90 22 0:44 / /srv/shop\\040floor rw shared:2 - cifs //host/floor rw,vers=3.0\n\
        91 22 0:45 / /srv/shop rw - nfs4 host:/export rw\n\
        92 91 8:2 / /srv/shop/local rw - xfs /dev/sdb1 rw\n";

    #[test]
    fn the_longest_mount_point_above_a_folder_counts() {
        for (folder, found) in [
            ("/home/anna", "ext4"),
            ("/srv/shop", "nfs4"),
            ("/srv/shop/local/logs", "xfs"),
            ("/srv/shop floor/bay 2", "cifs"),
            ("/srv/shopping", "ext4"),
        ] {
            assert_eq!(kind(MOUNTS, folder), Some(found), "{folder}");
        }
        assert_eq!(kind("", "/"), None);
    }

    #[test]
    fn a_folder_of_this_machine_is_on_no_network_and_one_that_is_not_there_neither() {
        assert!(!is_on_network(&std::env::temp_dir().join("x")));
        assert!(!is_on_network(Path::new("/no/such/folder/x")));
    }
}
