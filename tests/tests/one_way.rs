//! Data flows one way: no two files of a crate import each other, nor by way of others.

mod source;

use source::{Segments, Source};
use std::collections::{BTreeMap, BTreeSet};
use std::path::Path;
use walkdir::WalkDir;

/// The files of a crate by their path in it (`judge/proof`; a `mod.rs` by its folder, `lib.rs` by nothing).
struct Crate {
    files: BTreeMap<String, Source>,
}

impl Crate {
    fn read(folder: &str) -> Self {
        let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("..").join(folder).join("src");
        let files = WalkDir::new(&root).into_iter().map(|entry| entry.expect("read").into_path());
        let files = files.filter(|path| path.extension().is_some_and(|extension| extension == "rs")).map(|path| {
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
        // Names that are passed round without end are no program.
        let hops = hops.checked_sub(1)?;
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
        // `use put;` of a macro defined above makes it a path, and leads nowhere else.
        let brought = source.uses.iter().find(|line| line.name == *first && line.path != [first.clone()]);
        if let Some(line) = brought {
            let path: Segments = line.path.iter().chain(rest).cloned().collect();
            return self.file_of(file, &path, hops);
        }
        if source.defined.contains(first) {
            return Some(Target::Item(file.to_owned()));
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
        let paths = taken.map(|line| (&line.path, line.name == "*"));
        let paths = paths.chain(source.paths.iter().map(|path| (path, false)));
        let mut imports = Imports::new();
        for (path, all) in paths {
            let target = match self.file_of(file, path, 16) {
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
    round.map(|(file, there)| there.iter().copied().filter(|other| reached[other].contains(file)).collect()).collect()
}

fn assert_one_way(folder: &str, least: usize) {
    let files = Crate::read(folder);
    let imports: BTreeMap<_, _> = files.files.keys().map(|file| (file.as_str(), files.imports(file))).collect();
    if std::env::var_os("EDGES").is_some() { for (f, to) in &imports { for (t, n) in to { println!("EDGE {f} {t} {}", n.iter().cloned().collect::<Vec<_>>().join(" ")); } } }
    let count = imports.values().map(BTreeMap::len).sum::<usize>();
    println!("{count}");
    assert!(count > least, "the imports were not read: {count}");
    let told = circles(&imports).into_iter().map(|circle| {
        let mut lines = String::new();
        for file in &circle {
            for (target, names) in imports[file].iter().filter(|(target, _)| circle.contains(*target)) {
                let names: Vec<_> = names.iter().map(String::as_str).collect();
                lines += &format!("  {file} takes from {target}: {}\n", names.join(" "));
            }
        }
        lines
    });
    let told: Vec<_> = told.collect();
    assert!(told.is_empty(), "these files of {folder} import each other:\n{}", told.join("\n"));
}

#[test]
fn no_files_of_the_core_import_each_other() {
    assert_one_way("core", 200);
}

#[test]
fn no_files_of_the_program_import_each_other() {
    assert_one_way("sim", 200);
}
