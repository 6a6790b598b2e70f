//! Every key of every file, from the code that reads it.
//!
//! Decides: which files have keys, and how the page of them reads.
//! Assumes: the readers ask for what they know, see [`crate::input::survey`].
//! Never: lists a key that no reader asks for; what one is for is said once, in its `meaning`.

mod file;
mod meaning;
pub mod template;

use crate::input::joint_field::JointField;
use crate::input::joint_file;
use crate::input::setting::Subject;
use crate::input::survey::Form;
use crate::process::fault::Kind;
use crate::setup::item::Item;
use bandward::{Channel, Rule};
pub use file::File;
use std::fmt::Write as _;

/// A path with what stands for many names in place of each: `<channel>`, `<rule>`, `<setting>`.
pub fn pattern(file: File, path: &str) -> String {
    let mut parts: Vec<&str> = path.split('.').collect();
    let is_channel = |part: &str| Channel::ALL.iter().any(|channel| channel.name() == part);
    match (file, parts.as_mut_slice()) {
        (File::Procedure, ["alarm", rule, ..]) if Rule::from_name(rule).is_some() => *rule = "<rule>",
        (File::Procedure, [table, ..]) if Subject::all().any(|subject| subject.table_name() == *table) => {
            *table = "<setting>";
        }
        (File::Layout, ["channels", channel, ..]) | (File::Scenario, ["sensor", channel, ..])
            if is_channel(channel) =>
        {
            *channel = "<channel>";
        }
        (File::Layout, ["joint", field]) if JointField::ALL.iter().any(|known| known.key() == *field) => {
            *field = "<field>";
        }
        _ => {}
    }
    parts.join(".")
}

/// Patterns that a reader asks for and nobody has said what they are for, and those the other way round.
pub fn unexplained(file: File) -> (Vec<String>, Vec<String>) {
    let patterns: Vec<String> = file.keys().iter().map(|key| pattern(file, &key.path)).collect();
    let without = patterns.iter().filter(|pattern| meaning(file, pattern).is_empty()).cloned().collect();
    let listed = meaning::table(file).iter().map(|(pattern, _)| (*pattern).to_owned());
    (without, listed.filter(|listed| !patterns.contains(listed)).collect())
}

/// The page of all keys, in Markdown.
pub fn page() -> String {
    let mut page = String::from(
        "# Every key of every file\n\nMade by `bandward keys` from the code that reads the files. Files are TOML; \
         quantities are texts with their unit. A key that is not listed here is refused.\n",
    );
    for file in File::ALL {
        let _ = write!(page, "\n## {}\n\n{}\n", file.name(), file.used_by());
        let keys = file.keys();
        let mut told: Vec<String> = Vec::new();
        for table in keys.iter().filter(|key| !matches!(key.form, Form::Value(_))) {
            let heading = pattern(file, &table.path);
            if told.contains(&heading) {
                continue;
            }
            let meaning = meaning(file, &heading);
            let _ = match &table.form {
                Form::Tables => write!(page, "\n### `[[{heading}]]`\n\n{meaning}.\n\n"),
                _ => write!(page, "\n### `[{heading}]`\n\n{meaning}.\n\n"),
            };
            told.push(heading.clone());
            for key in &keys {
                let (Form::Value(form), path) = (&key.form, pattern(file, &key.path)) else { continue };
                let (parent, name) = path.rsplit_once('.').unwrap_or(("", &path));
                if parent == heading && !told.contains(&path) {
                    let form = form_of(file, &path, form);
                    let _ = writeln!(page, "- `{name}`: {}", said(&self::meaning(file, &path), &form));
                    told.push(path.clone());
                }
            }
        }
        page.push_str(&names(file));
    }
    page
}

/// All keys as JSON: file, key, what it holds, what it is for.
pub fn json() -> serde_json::Value {
    let of = |file: File| {
        let keys = file.keys();
        let keys = keys.iter().map(|key| {
            let form = match &key.form {
                Form::Table => "a table".to_owned(),
                Form::Tables => "a list of tables".to_owned(),
                // Each key of its own, with all that its reader says.
                Form::Value(form) if key.path == pattern(file, &key.path) => form_of(file, &key.path, form),
                Form::Value(form) => form.clone(),
            };
            let meaning = meaning(file, &pattern(file, &key.path));
            serde_json::json!({"key": key.path, "holds": form, "meaning": meaning})
        });
        serde_json::json!({"file": file.name(), "keys": keys.collect::<Vec<_>>()})
    };
    serde_json::json!({ "files": File::ALL.map(of) })
}

/// What a key is for; of what is measured, how.
fn meaning(file: File, pattern: &str) -> String {
    let how = item(file, pattern).map(Item::how);
    how.or_else(|| meaning::of(file, pattern)).map(str::to_owned).unwrap_or_default()
}

/// What is measured under a key of a setup.
fn item(file: File, pattern: &str) -> Option<Item> {
    let name = pattern.strip_prefix("measured.").filter(|_| file == File::Setup)?;
    Item::all().find(|item| item.key() == name)
}

/// What may stand in a key: as its reader says, but for texts of which only what they are about can say.
fn form_of(file: File, pattern: &str, form: &str) -> String {
    if OF_THE_EXAMPLE.contains(&(file, pattern)) {
        return form
            .split([',', ';'])
            .next()
            .unwrap_or(form)
            .split(" from ")
            .next()
            .unwrap_or(form)
            .to_owned();
    }
    let of_item = item(file, pattern).map(Item::allowed);
    let field = joint_file::field(pattern).filter(|_| file == File::Joint);
    of_item.or_else(|| field.and_then(JointField::allowed)).unwrap_or_else(|| plain_form(pattern, form))
}

/// Keys whose bounds are those of the joint, the kind or the shift that the other keys make.
const OF_THE_EXAMPLE: &[(File, &str)] = &[
    (File::Scenario, "fault.size"),
    (File::Scenario, "fault.joint"),
    (File::Scenario, "fault.band"),
    (File::Scenario, "shift.fewer.joint"),
    (File::Scenario, "shift.fewer.bands"),
];

/// What a key is for, and what may stand there.
fn said(meaning: &str, form: &str) -> String {
    match (meaning.is_empty(), form.is_empty()) {
        (true, _) => form.to_owned(),
        (_, true) => meaning.to_owned(),
        _ => format!("{meaning}; {form}"),
    }
}

/// What may stand there; of keys that stand for many, only what is the same for all.
fn plain_form(pattern: &str, form: &str) -> String {
    if !pattern.contains('<') {
        return form.to_owned();
    }
    form.split(", in ").next().unwrap_or(form).split("; ").next().unwrap_or(form).to_owned()
}

/// The names that stand behind `<rule>` and its like.
fn names(file: File) -> String {
    let list = |names: Vec<&str>| names.iter().map(|name| format!("`{name}`")).collect::<Vec<_>>().join(", ");
    let channels = || list(Channel::ALL.map(Channel::name).to_vec());
    match file {
        File::Procedure => {
            let settings = Subject::all().map(|subject| {
                let units = subject.dimension().unit_list();
                format!("| `{}` | {} | {units} |\n", subject.table_name(), subject.title())
            });
            let settings: String = settings.collect();
            let rules = list(Rule::ALL.map(Rule::name).to_vec());
            format!(
                "\n`<setting>` is one of\n\n| table | what | units |\n|---|---|---|\n{settings}\n`<rule>` is one of {rules}.\n"
            )
        }
        File::Layout => {
            let fields = list(JointField::ALL.map(JointField::key).to_vec());
            format!("\n`<channel>` is one of {}; `<field>` is one of {fields}.\n", channels())
        }
        File::Scenario => {
            let kinds = list(Kind::ALL.iter().map(|kind| kind.description().name).collect());
            format!("\n`<channel>` is one of {}; a fault's `kind` is one of {kinds}.\n", channels())
        }
        File::Setup | File::Joint | File::Inspection | File::Events => String::new(),
    }
}
