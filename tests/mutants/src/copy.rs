//! The copy of the project in which the core can be changed.
//!
//! Decides: what is copied; which changes the compiler refuses, by asking it.
//! Never: touches a file outside its folder.

use crate::names::{Point, tell_apart};
use crate::points::{Refused, change};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::hash::{DefaultHasher, Hash, Hasher};
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};
use syn::visit::{self, Visit};

/// Checks of `tests/tests` that drive the core, and need no more of the host than is copied.
const CHECKS: [&str; 20] = [
    "alarm_timeline",
    "changed_over",
    "dead_meters",
    "every_limit",
    "everyday",
    "formulas",
    "interrupted",
    "monitor_edges",
    "no_way_to_hide",
    "places",
    "plain_samples",
    "signal_claims",
    "spindle_claims",
    "strd",
    "strike_and_end",
    "sums_properties",
    "transfer_claims",
    "unseen",
    "weave_claims",
    "weave_width",
];
/// What those take from the host and from what the checks share.
const SHARED: [&str; 4] =
    ["sim/src/process/random.rs", "sim/src/trace/row.rs", "tests/src/heard.rs", "tests/src/plain_joint.rs"];
const HOST: &str = include_str!("host.rs.txt");
const HOST_MANIFEST: &str = include_str!("host.toml.txt");
const CHECKS_MANIFEST: &str = include_str!("checks.toml.txt");
/// Chooses a change when a program starts.
const MUTANT: &str = include_str!("mutant.rs.txt");

/// A copy, and what was changed in it.
#[derive(Debug)]
pub struct Copy {
    /// Its folder.
    pub folder: PathBuf,
    /// Every change that compiles.
    pub points: Vec<Point>,
    /// Changes that the compiler refused, by file.
    pub refused: BTreeMap<String, usize>,
    /// `const` functions without a change.
    pub constant: usize,
}

impl Copy {
    /// Makes it under `root/target/mutants`, with changes in the files of `core/src` that start with one of `wanted`.
    ///
    /// # Errors
    /// A file cannot be read or written, or the compiler refuses the core for another reason than a change.
    pub fn make(root: &Path, wanted: &[String]) -> Result<Self, String> {
        let folder = root.join("target/mutants/tree");
        bring(root, &folder, wanted)?;
        let mut copy = Self { folder, points: Vec::new(), refused: BTreeMap::new(), constant: 0 };
        let sources = sources(&root.join("core/src"), wanted)?;
        let mut refused = copy.known(&sources)?;
        for _ in 0..40 {
            copy.write(&sources, &refused)?;
            let before = (refused.numbers.len(), refused.constant.len());
            let problems = copy.ask(&mut refused)?;
            if problems.is_empty() {
                copy.remember(&sources, &refused)?;
                tell_apart(&mut copy.points);
                return Ok(copy);
            }
            if before == (refused.numbers.len(), refused.constant.len()) {
                return Err(problems.join("\n"));
            }
        }
        Err("the compiler still refuses the copy after 40 rounds".to_owned())
    }
    /// What the compiler refused when these places were changed last.
    fn known(&self, sources: &[(String, String)]) -> Result<Refused, String> {
        let text = std::fs::read_to_string(self.folder.with_file_name("refused.json")).unwrap_or_default();
        let there: Option<(u64, Refused)> = serde_json::from_str(&text).ok();
        let places = places(sources)?;
        Ok(there.filter(|(of, _)| *of == places).map(|(_, refused)| refused).unwrap_or_default())
    }
    fn remember(&self, sources: &[(String, String)], refused: &Refused) -> Result<(), String> {
        let text = serde_json::to_string(&(places(sources)?, refused)).map_err(|error| error.to_string())?;
        write_changed(&self.folder.with_file_name("refused.json"), &text)
    }
    fn write(&mut self, sources: &[(String, String)], refused: &Refused) -> Result<(), String> {
        (self.points, self.refused, self.constant) = (Vec::new(), BTreeMap::new(), 0);
        let mut last = 0;
        for (file, source) in sources {
            let first = last;
            let changed =
                change(file, source, &mut last, refused).map_err(|error| format!("{file}: {error}"))?;
            let here = refused.numbers.iter().filter(|number| (first + 1..=last).contains(*number)).count();
            self.refused.insert(file.clone(), here);
            self.points.extend(changed.points);
            self.constant += changed.passed_over;
            write_changed(&self.folder.join("core/src").join(file), &changed.text)?;
        }
        let mutant = MUTANT.replace("PLACES", &(last + 1).to_string());
        write_changed(&self.folder.join("core/src/mutant.rs"), &mutant)?;
        Ok(())
    }
    /// What the compiler says of the core; what it refuses is noted.
    fn ask(&self, refused: &mut Refused) -> Result<Vec<String>, String> {
        let output = cargo(&self.folder)
            .args(["check", "--quiet", "-p", "bandward", "--lib", "--message-format=json"])
            .stderr(Stdio::null())
            .output()
            .map_err(|error| error.to_string())?;
        if output.status.success() {
            return Ok(Vec::new());
        }
        let mut problems = Vec::new();
        let mut ranges = BTreeMap::new();
        for line in String::from_utf8_lossy(&output.stdout).lines() {
            let Ok(message) = serde_json::from_str::<Value>(line) else { continue };
            let message = &message["message"];
            if message["level"] != "error" {
                continue;
            }
            let text = message["message"].as_str().unwrap_or_default();
            problems.push(message["rendered"].as_str().unwrap_or(text).chars().take(3000).collect());
            if message["code"]["code"] == "E0015"
                && let Some(name) = text.split('`').nth(1)
            {
                let name = name.split("::").filter(|part| !part.starts_with('<')).last().unwrap_or_default();
                refused.constant.insert(name.to_owned());
                continue;
            }
            for span in message["spans"].as_array().into_iter().flatten() {
                let (Some(file), Some(start), Some(end)) =
                    (span["file_name"].as_str(), span["byte_start"].as_u64(), span["byte_end"].as_u64())
                else {
                    continue;
                };
                if span["is_primary"] != true {
                    continue;
                }
                if !ranges.contains_key(file) {
                    ranges.insert(file.to_owned(), switched(&self.folder.join(file))?);
                }
                let within = ranges.get(file).into_iter().flatten();
                let within = within.filter(|(from, to, _)| *from <= start as usize && end as usize <= *to);
                if let Some((_, _, number)) = within.min_by_key(|(from, to, _)| to - from) {
                    refused.numbers.insert(*number);
                }
            }
        }
        if problems.is_empty() {
            return Err("the compiler stopped and gave no reason".to_owned());
        }
        Ok(problems)
    }
}

/// Cargo in a copy, with a folder of its own for what it builds.
pub fn cargo(folder: &Path) -> Command {
    let mut cargo = Command::new("cargo");
    cargo
        .current_dir(folder)
        .env("CARGO_TARGET_DIR", folder.with_file_name("target"))
        .env("CARGO_INCREMENTAL", "0");
    cargo
}

/// Where each change of a written file is: from, to, number.
fn switched(path: &Path) -> Result<Vec<(usize, usize, u32)>, String> {
    struct Found(Vec<(usize, usize, u32)>);
    impl<'a> Visit<'a> for Found {
        fn visit_expr_if(&mut self, choice: &'a syn::ExprIf) {
            let condition = match &*choice.cond {
                syn::Expr::Unary(not) => &not.expr,
                other => other,
            };
            if let syn::Expr::Call(call) = condition
                && let syn::Expr::Path(path) = &*call.func
                && path.path.segments.iter().any(|segment| segment.ident == "mutant")
                && let Some(syn::Expr::Lit(number)) = call.args.first()
                && let syn::Lit::Int(number) = &number.lit
                && let Ok(number) = number.base10_parse()
            {
                let range = syn::spanned::Spanned::span(choice).byte_range();
                self.0.push((range.start, range.end, number));
            }
            visit::visit_expr_if(self, choice);
        }
    }
    let text = read(path)?;
    let tree = syn::parse_file(&text).map_err(|error| error.to_string())?;
    let mut found = Found(Vec::new());
    found.visit_file(&tree);
    Ok(found.0)
}

/// The files of the core that are changed.
fn sources(folder: &Path, wanted: &[String]) -> Result<Vec<(String, String)>, String> {
    let mut found = Vec::new();
    let mut folders = vec![folder.to_owned()];
    while let Some(here) = folders.pop() {
        for path in entries(&here)? {
            if path.is_dir() {
                folders.push(path);
                continue;
            }
            let name = path.strip_prefix(folder).unwrap_or(&path).to_string_lossy().into_owned();
            if name != "lib.rs" && is_wanted(&name, wanted) {
                found.push((name, read(&path)?));
            }
        }
    }
    found.sort();
    if found.is_empty() {
        Err(format!("no file of core/src starts with {}", wanted.join(" or ")))
    } else {
        Ok(found)
    }
}

/// Brings what the copy consists of, but for the files of the core that are changed.
fn bring(root: &Path, folder: &Path, wanted: &[String]) -> Result<(), String> {
    for name in ["core/tests", "tests/data/strd"] {
        mirror(&root.join(name), &folder.join(name), &|_| true)?;
    }
    let source = root.join("core/src");
    let is_left = |path: &Path| {
        let name = path.strip_prefix(&source).unwrap_or(path).to_string_lossy().into_owned();
        name != "lib.rs" && !is_wanted(&name, wanted)
    };
    mirror(&source, &folder.join("core/src"), &is_left)?;
    let put = |name: &str, text: &str| write_changed(&folder.join(name), text);
    put("core/src/lib.rs", &format!("{}\nmod mutant;\n", read(&root.join("core/src/lib.rs"))?))?;
    for name in ["Cargo.lock", "core/README.md", "core/LINK.md"].into_iter().chain(SHARED) {
        let from = root.join(name);
        if from.exists() {
            put(name, &read(&from)?)?;
        }
    }
    for name in CHECKS {
        let name = format!("tests/tests/{name}.rs");
        put(&name, &read(&root.join(&name))?)?;
    }
    let whole = read(&root.join("Cargo.toml"))?;
    let package = whole.split("[workspace.package]").nth(1).and_then(|rest| rest.split("\n[").next());
    let package = package.ok_or("Cargo.toml has no [workspace.package]")?;
    put(
        "Cargo.toml",
        &format!(
            "[workspace]\nresolver = \"3\"\nmembers = [\"core\", \"sim\", \"tests\"]\n\n[workspace.package]{package}\n\
             [profile.dev]\nopt-level = 2\ndebug = false\n"
        ),
    )?;
    let core = read(&root.join("core/Cargo.toml"))?;
    put("core/Cargo.toml", core.split("[lints.rust]").next().unwrap_or_default())?;
    put("sim/Cargo.toml", HOST_MANIFEST)?;
    put("sim/src/lib.rs", HOST)?;
    put("tests/Cargo.toml", CHECKS_MANIFEST)?;
    put("tests/src/lib.rs", "//! What the checks share.\n\npub mod heard;\npub mod plain_joint;\n")?;
    let modules = CHECKS.iter().fold(String::new(), |text, name| text + "mod " + name + ";\n");
    put("tests/tests/all.rs", &format!("//! Some of the checks.\n\n{modules}"))
}

/// What a set of places to change is known by.
fn places(sources: &[(String, String)]) -> Result<u64, String> {
    let mut hasher = DefaultHasher::new();
    let mut last = 0;
    for (file, source) in sources {
        let changed = change(file, source, &mut last, &Refused::default());
        for point in changed.map_err(|error| format!("{file}: {error}"))?.points {
            (point.number, point.key()).hash(&mut hasher);
        }
    }
    Ok(hasher.finish())
}

fn is_wanted(name: &str, wanted: &[String]) -> bool {
    Path::new(name).extension().is_some_and(|extension| extension == "rs")
        && !name.ends_with("/tests.rs")
        && wanted.iter().any(|wanted| name.starts_with(wanted.as_str()))
}

fn read(path: &Path) -> Result<String, String> {
    std::fs::read_to_string(path).map_err(|error| format!("{}: {error}", path.display()))
}

fn entries(folder: &Path) -> Result<BTreeSet<PathBuf>, String> {
    let say = |error: std::io::Error| format!("{}: {error}", folder.display());
    std::fs::read_dir(folder).map_err(say)?.map(|entry| Ok(entry.map_err(say)?.path())).collect()
}

/// Writes what is not there yet: a file that stays as it is is not built again.
fn write_changed(path: &Path, text: &str) -> Result<(), String> {
    if std::fs::read_to_string(path).is_ok_and(|there| there == text) {
        return Ok(());
    }
    let folder = path.parent().unwrap_or(path);
    std::fs::create_dir_all(folder)
        .and_then(|()| std::fs::write(path, text))
        .map_err(|error| format!("{}: {error}", path.display()))
}

/// Makes the files of `to` what those of `from` are, where they are `wanted`.
fn mirror(from: &Path, to: &Path, wanted: &dyn Fn(&Path) -> bool) -> Result<(), String> {
    let say = |error: std::io::Error| format!("{}: {error}", from.display());
    std::fs::create_dir_all(to).map_err(say)?;
    for path in entries(from)? {
        let Some(name) = path.file_name() else { continue };
        if path.is_dir() {
            mirror(&path, &to.join(name), wanted)?;
        } else if wanted(&path) {
            write_changed(&to.join(name), &read(&path)?)?;
        }
    }
    for path in entries(to)? {
        let is_ours = path.file_name().is_some_and(|name| from.join(name).exists());
        if !is_ours && path.is_file() && !path.ends_with("mutant.rs") {
            std::fs::remove_file(&path).map_err(say)?;
        }
    }
    Ok(())
}
