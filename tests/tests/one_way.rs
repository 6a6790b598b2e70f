//! Data flows one way: no two files of `core` or of `sim` import each other, nor by way of others; and the folders of
//! `sim` stand in one order.
//!
//! Decides: what an import is. Every path with `crate`, `self`, `super`, the name of a module below or a name that was
//! brought in counts, in a `use` with its braces as in the code itself and within macros, and is followed to the file
//! that defines what it names: one that a `mod.rs` only passes on is taken from below it. A `mod.rs` (or any file)
//! that uses a name it passes on takes it as well; a line `mod x;` alone, and a name passed on and not used, is
//! a signpost and takes nothing.
//! Assumes: a file compiles; its own tests may look at anything.
//! Never: sees what is called as a method, of a type that came from elsewhere.

mod source;

use source::{Segments, Source};
use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::path::Path;
use walkdir::WalkDir;

/// The folders and files of `sim/src`: each takes from rows above its own, and from no other.
const ORDER_OF_THE_PROGRAM: [&str; 16] = [
    "heat output own_fault raw within",
    "alarm input threads",
    "embedded formulas in_order preferences publish standing trace",
    "demo findings fleet laid process propose recording",
    "inspection setup",
    "identity plan repair",
    "dossier trend",
    "reference register replay",
    "coarse_speed shift trial",
    "report",
    "link",
    "watch",
    "serve",
    "commands",
    "program",
    "main",
];

/// The files of a crate by their path in it (`judge/proof`; a `mod.rs` by its folder, `lib.rs` by nothing).
struct Crate {
    files: BTreeMap<String, Source>,
}

impl Crate {
    fn read(folder: &str) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(folder).join("src");
        let files = WalkDir::new(&root).into_iter().map(|entry| entry.expect("read").into_path());
        let files = files.filter(|path| path.extension().is_some_and(|extension| extension == "rs"));
        let files = files.map(|path| {
            let name = path.strip_prefix(&root).expect("inside").with_extension("");
            let name = name.to_string_lossy().replace('\\', "/");
            let name = name.strip_suffix("/mod").unwrap_or(&name);
            let text = std::fs::read_to_string(&path).expect("read");
            (if name == "lib" { "" } else { name }.to_owned(), Source::read(&text))
        });
        Self { files: files.collect() }
    }

    /// The file that a path of a file leads to, through the names that others pass on.
    fn file_of(&self, file: &str, path: &[String], hops: usize) -> Option<Target> {
        assert!(hops < 16, "{file}: {path:?} leads round and round");
        let hops = hops + 1;
        let (first, rest) = path.split_first()?;
        match first.as_str() {
            "crate" => self.within("", rest, hops),
            "self" => self.within(file, rest, hops),
            "super" => self.file_of_parent(file, rest, hops),
            _ if self.knows(file, first) => self.within(file, path, hops),
            _ => None,
        }
    }

    fn file_of_parent(&self, file: &str, rest: &[String], hops: usize) -> Option<Target> {
        let parent = file.rsplit_once('/').map_or("", |(parent, _)| parent);
        match rest.split_first() {
            Some((first, rest)) if first == "super" => self.file_of_parent(parent, rest, hops),
            _ => self.within(parent, rest, hops),
        }
    }

    fn knows(&self, file: &str, name: &str) -> bool {
        let source = &self.files[file];
        source.modules.contains(name) || source.uses.iter().any(|line| line.name == name)
    }

    /// What a path leads to, from within a file.
    fn within(&self, file: &str, path: &[String], hops: usize) -> Option<Target> {
        let source = self.files.get(file)?;
        let Some((first, rest)) = path.split_first() else { return Some(Target::Module(file.to_owned())) };
        if source.modules.contains(first) {
            let child = if file.is_empty() { first.clone() } else { format!("{file}/{first}") };
            return self.within(&child, rest, hops);
        }
        if source.defined.contains(first) {
            return Some(Target::Item(file.to_owned()));
        }
        if let Some(line) = source.uses.iter().find(|line| line.name == *first) {
            if line.path[0] == *first {
                // Of another crate, by its name.
                return None;
            }
            let path: Segments = line.path.iter().chain(rest).cloned().collect();
            return self.file_of(file, &path, hops);
        }
        let all = source.uses.iter().filter(|line| line.name == "*");
        let mut all = all.filter_map(|line| self.file_of(file, &line.path, hops));
        let through = all.find_map(|target| match target {
            Target::Module(module) => Some(self.within(&module, path, hops)),
            Target::Item(_) => None,
        });
        // What no line defines, a macro does.
        through.unwrap_or_else(|| Some(Target::Item(file.to_owned())))
    }

    /// The files that a file takes from, and which names.
    fn imports(&self, file: &str) -> Imports<'_> {
        let source = &self.files[file];
        let taken = source.uses.iter().filter(|line| !line.passed_on || source.words.contains(&line.name));
        // A module is brought in for what it holds, unless a function has its name. Code names no module.
        let paths = taken.map(|line| (&line.path, line.name == "*" || source.called.contains(&line.name)));
        let paths = paths.chain(source.paths.iter().map(|path| (path, true)));
        let mut imports = Imports::new();
        for (path, all) in paths {
            let target = match self.file_of(file, path, 0) {
                Some(Target::Item(target)) => target,
                Some(Target::Module(target)) if all => target,
                _ => continue,
            };
            let (target, _) = self.files.get_key_value(&target).expect("a file");
            if target != file {
                imports.entry(target).or_default().insert(path.join("::"));
            }
        }
        imports
    }
}

/// The files taken from, and the paths by which.
type Imports<'f> = BTreeMap<&'f str, BTreeSet<String>>;

enum Target {
    Module(String),
    Item(String),
}

/// The groups of files that import each other, directly or by way of others.
fn circles<'f>(imports: &BTreeMap<&'f str, Imports<'f>>) -> BTreeSet<BTreeSet<&'f str>> {
    let reached: BTreeMap<_, _> = imports
        .keys()
        .map(|from| {
            let mut reached = BTreeSet::new();
            let mut left = vec![*from];
            while let Some(file) = left.pop() {
                left.extend(imports[file].keys().filter(|next| reached.insert(**next)));
            }
            (*from, reached)
        })
        .collect();
    let round = reached.iter().filter(|(file, reached)| reached.contains(*file));
    round
        .map(|(file, there)| there.iter().copied().filter(|other| reached[other].contains(file)).collect())
        .collect()
}

/// What each file of a crate takes from the others.
fn all_imports(files: &Crate, least: usize) -> BTreeMap<&str, Imports<'_>> {
    let imports: BTreeMap<_, _> =
        files.files.keys().map(|file| (file.as_str(), files.imports(file))).collect();
    let count = imports.values().map(BTreeMap::len).sum::<usize>();
    assert!(count > least, "the imports were not read: {count}");
    imports
}

fn assert_one_way(folder: &str, least: usize) {
    let files = Crate::read(folder);
    let imports = all_imports(&files, least);
    let told = circles(&imports).into_iter().map(|circle| {
        let mut lines = String::new();
        for file in &circle {
            for (target, names) in imports[file].iter().filter(|(target, _)| circle.contains(*target)) {
                let names: Vec<_> = names.iter().map(String::as_str).collect();
                let _ = writeln!(lines, "  {file} takes from {target}: {}", names.join(" "));
            }
        }
        lines
    });
    let told: Vec<_> = told.collect();
    assert!(told.is_empty(), "these files of {folder} import each other:\n{}", told.join("\n"));
}

#[test]
fn no_files_of_the_core_import_each_other() {
    assert_one_way("core", 350);
}

#[test]
fn no_files_of_the_program_import_each_other() {
    assert_one_way("sim", 2000);
}

#[test]
fn the_folders_of_the_program_stand_in_one_order() {
    let files = Crate::read("sim");
    let imports = all_imports(&files, 2000);
    let folder_of = |file: &str| file.split('/').next().unwrap_or(file).to_owned();
    let folders: BTreeSet<_> =
        imports.keys().map(|file| folder_of(file)).filter(|name| !name.is_empty()).collect();
    let rows: BTreeSet<_> =
        ORDER_OF_THE_PROGRAM.iter().flat_map(|row| row.split(' ')).map(str::to_owned).collect();
    assert_eq!(rows, folders, "every folder and file of sim/src has its row, and nothing else");
    let row_of =
        |folder: &str| ORDER_OF_THE_PROGRAM.iter().position(|row| row.split(' ').any(|name| name == folder));
    let mut wrong = Vec::new();
    for (file, imports) in &imports {
        let own = folder_of(file);
        for (target, names) in imports {
            let folder = folder_of(target);
            let is_above = row_of(&folder).is_some_and(|row| Some(row) < row_of(&own));
            if !own.is_empty() && folder != own && !is_above {
                wrong.push(format!("{file} takes from {target}: {names:?}"));
            }
        }
    }
    assert!(wrong.is_empty(), "not from a row above its own:\n{}", wrong.join("\n"));
}

#[test]
fn every_way_to_import_is_seen() {
    let of_others = [
        ("", "pub mod a; pub mod b; mod d; pub use d::d; pub use b::Below as Top; fn here() {}"),
        (
            "a",
            "mod one; mod two; pub use two::Two; pub(crate) use crate::b::low::{self, Deep}; pub struct Own;",
        ),
        ("a/two", "pub struct Two; pub fn two() {}"),
        ("b", "pub mod low; pub mod deep; pub struct Below; pub use deep::*;"),
        ("b/low", "pub struct Deep; pub struct Low;"),
        ("b/deep", "pub struct Deepest;"),
        ("d", "pub fn d() {} impl Deepest { fn here() {} }"),
    ];
    for (text, expected) in [
        ("use crate::a::two::two;", "a/two"),
        ("use crate::{a::Own, b::{low::{Low as Other, Deep}, Below}};", "a b b/low"),
        ("use super::Own;", "a"),
        ("use super::super::b::Below;", "b"),
        // A name that is passed on is taken from where it is defined, by whichever way.
        ("use super::Two;", "a/two"),
        ("use super::Deep;", "b/low"),
        ("use crate::Top;", "b"),
        ("use crate::b::Deepest;", "b/deep"),
        ("use super::low; fn f() -> low::Low {}", "b/low"),
        ("fn f(two: crate::a::Two) { super::super::here() }", "/ a/two"),
        ("fn f() { println!(\"{}\", super::two::two()) }", "a/two"),
        ("macro_rules! m { () => { $crate::b::low::Low } }", "b/low"),
        ("use crate::b as other; const X: u8 = other::low::Deep::<u8>::X;", "b/low"),
        ("mod inner { use super::super::Own; use super::here; } fn here() {}", "a"),
        ("fn f() -> impl Sized + use<> { use crate::b::Below; }", "b"),
        ("use crate::b::low::*;", "b/low"),
        ("fn f() { crate::d() } mod d { pub(in crate::a) fn d() {} }", "d"),
        ("use crate::d; pub(in crate::a) fn f() { d() }", "d"),
        ("pub use crate::b::Below; fn f(_: Below) {}", "b"),
        // Signposts and what is no import.
        ("pub use crate::b::Below; pub(super) use super::two::two; mod below;", ""),
        ("use crate::b::low; // crate::a::Own\nconst X: &str = \"crate::a::Own\";", ""),
        ("use self::inner::X; mod inner { pub struct X; }", ""),
        ("#[cfg(test)] mod tests { use super::super::Own; }", ""),
        ("use std::fmt; fn f(b: u8) { b.low(); fmt::b::low() }", ""),
    ] {
        let files = of_others.into_iter().chain([("a/one", text)]);
        let files = files.map(|(name, text)| (name.to_owned(), Source::read(text)));
        let files = Crate { files: files.collect() };
        let found: Vec<_> =
            files.imports("a/one").into_keys().map(|file| if file.is_empty() { "/" } else { file }).collect();
        assert_eq!(found.join(" "), expected, "{text}");
    }
}

#[test]
fn a_circle_is_found_by_way_of_others_and_nothing_above_or_below_it() {
    let files = [("top", "a"), ("a", "b"), ("b", "c"), ("c", "a low"), ("low", ""), ("own", "low")];
    let of = |targets: &'static str| targets.split(' ').filter(|name| !name.is_empty());
    let imports =
        files.map(|(file, targets)| (file, of(targets).map(|name| (name, BTreeSet::new())).collect()));
    let expected = BTreeSet::from([BTreeSet::from(["a", "b", "c"])]);
    assert_eq!(circles(&BTreeMap::from(imports)), expected);
}
