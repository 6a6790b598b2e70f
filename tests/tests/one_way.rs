//! Data flows one way through the core: no two of its files import each other, nor by way of others.
//!
//! Assumes: a file names what it takes from another by `crate::`, before its own tests.

use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use walkdir::WalkDir;

/// The files of the core by their path in the crate (`judge/proof`), each with its text.
fn files() -> BTreeMap<String, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("../core/src");
    let files = WalkDir::new(&root).into_iter().map(|entry| entry.expect("read").into_path());
    files
        .filter(|path| path.extension().is_some_and(|extension| extension == "rs"))
        .map(|path| {
            let name = path.strip_prefix(&root).expect("inside").with_extension("");
            let name = name.to_string_lossy().replace('\\', "/");
            let name = name.strip_suffix("/mod").map_or(name.clone(), str::to_owned);
            (name, std::fs::read_to_string(&path).expect("read"))
        })
        .collect()
}

/// What a file takes from others: of each path the longest part that is a file.
fn imports(own: &str, text: &str, files: &BTreeMap<String, String>) -> BTreeSet<String> {
    let text = text.split("mod tests {").next().unwrap_or_default();
    let code = text.lines().map(|line| line.split("//").next().unwrap_or_default());
    let code = code.collect::<Vec<_>>().join("\n");
    let paths = code.split("crate::").skip(1).map(|rest| {
        let end = rest.find(|sign: char| !(sign.is_alphanumeric() || "_:".contains(sign)));
        rest[..end.unwrap_or(rest.len())].replace("::", "/")
    });
    let file_of = |path: String| {
        let mut path = path.trim_end_matches('/');
        while !files.contains_key(path) {
            path = path.rsplit_once('/')?.0;
        }
        Some(path.to_owned())
    };
    paths.filter_map(file_of).filter(|file| file != own).collect()
}

#[test]
fn no_files_of_the_core_import_each_other() {
    let files = files();
    let mut left: BTreeMap<_, _> =
        files.iter().map(|(name, text)| (name.clone(), imports(name, text, &files))).collect();
    assert!(left.values().map(BTreeSet::len).sum::<usize>() > 200, "the imports were not read");
    // What imports nothing that is left is not in a circle.
    loop {
        let before = left.len();
        let names: BTreeSet<_> = left.keys().cloned().collect();
        left.retain(|_, imports| !imports.is_disjoint(&names));
        if left.len() == before {
            break;
        }
    }
    assert!(left.is_empty(), "in a circle, or above one: {left:#?}");
}
