//! `bandward trial`: thresholds on the bench.
//!
//! Decides: which traces are run through which settings, and in which order they are told.
//! Assumes: each trace has its faults beside it; see [`crate::trial::marks`].
//! Never: keeps a trace in memory.

use super::Outcome;
pub use super::trial_arguments::TrialArguments;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::terminal::{say, say_json};
use crate::output::{self, named};
use crate::preferences;
use crate::report::picture;
use crate::report::trial::{self as report, Against, Proposed, Results};
use crate::trial::bench::{Bench, Tried};
use crate::trial::plan::Plan;
use crate::trial::proposal::Proposal;
use crate::trial::propose;
use crate::trial::suggest;
use crate::trial::tuned_file::{Tuned, tables, tuned_text};
use bandward::rule::RuleSet;

/// Runs the command.
///
/// # Errors
/// A file cannot be read or has faults, or the settings do not fit the procedure.
pub fn run(arguments: &TrialArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let traces = arguments.traces()?;
    arguments.refuse_overlap(&traces)?;
    let file = arguments.procedure.as_deref().map(ProcedureFile::read).transpose()?;
    let other = arguments.against.as_deref().map(ProcedureFile::read).transpose()?;
    let setting = arguments.setting()?;
    arguments.fleet.check(traces.iter().map(AsRef::as_ref), setting.layout.as_ref())?;
    let mut bench = Bench::new(&traces, setting)?;
    let plan = plan(arguments, &bench, file.as_ref(), other.as_ref())?;
    if file.is_none() {
        bench.each_its_own();
    }
    let tried = bench.run(&plan)?;
    let all = tried.all(&plan);
    let wish = arguments.wish();
    let proposal = match &file {
        Some(file) if arguments.suggest => {
            Some(propose::propose(&bench, &file.procedure, &plan, &tried.folds, &wish)?)
        }
        _ => None,
    };
    let (told, of_other): (Vec<_>, Vec<_>) =
        bench.named(&tried).into_iter().partition(|(_, told)| told.of == 0);
    // Without a sweep there are no settings to be shown.
    let swept = plan.points.iter().filter(|_| !arguments.sweep.is_empty());
    let mut results = Results {
        title: file
            .as_ref()
            .map_or_else(|| "each by its own procedure".to_owned(), |file| title(file, other.as_ref())),
        procedure: &plan.variants[0],
        system: preferences::units(units, file.as_ref())?,
        severity: arguments.severity,
        grace_s: arguments.grace,
        wish,
        sums: &all,
        plan: &plan,
        sweeps: &arguments.sweep,
        about: if arguments.sweep.is_empty() { RuleSet::EMPTY } else { all.changed_by(&plan, swept) },
        told,
        without_rule: bench.without_rule(),
        proposed: None,
        against: match (&file, &other) {
            (Some(file), Some(other)) => Some(against((file, other), &bench, &tried, of_other)),
            _ => None,
        },
    };
    if let (Some(file), Some(proposal)) = (&file, proposal) {
        results.proposed = Some(hand_over(arguments, file, &results, proposal)?);
    }
    show(arguments, &results)?;
    Ok(if results.is_good() { Outcome::Done } else { Outcome::Broken })
}

/// What is to be run.
fn plan(
    arguments: &TrialArguments,
    bench: &Bench<'_>,
    file: Option<&ProcedureFile>,
    other: Option<&ProcedureFile>,
) -> anyhow::Result<Plan> {
    let mut plan = match (file, other) {
        (Some(file), Some(other)) => Plan::of_two(&file.procedure, &other.procedure),
        (Some(file), None) => Plan::of_sweeps(&file.procedure, &arguments.sweep)?,
        (None, _) => Plan::of(bench.own_procedure()?),
    };
    if arguments.suggest && arguments.sweep.is_empty() {
        suggest::add_usual_settings(&mut plan)?;
    }
    Ok(plan)
}

/// What a procedure is called; beside one of the same name, with its file.
fn title(file: &ProcedureFile, other: Option<&ProcedureFile>) -> String {
    let title = file.title();
    let is_alike = other.is_some_and(|other| other.title() == title) && title != file.file;
    if is_alike { format!("{title} ({})", file.file) } else { title }
}

fn against(
    (file, other): (&ProcedureFile, &ProcedureFile),
    bench: &Bench<'_>,
    tried: &Tried,
    told: Vec<(String, crate::trial::pass::Told)>,
) -> Against {
    let diameter = |file: &ProcedureFile| file.joint.outside_diameter_mm;
    let warnings = (diameter(file) != diameter(other)).then(|| {
        "the two are for joints of different outside diameters: what follows from the turning of the pipe \
         cannot be compared"
            .to_owned()
    });
    Against {
        title: title(other, Some(file)),
        warnings: warnings.into_iter().collect(),
        variant: 1,
        differences: bench.differences(tried),
        told,
    }
}

/// The values to be used, as tables and, where one is asked for, as a new file; nothing where they are not
/// confirmed.
fn hand_over(
    arguments: &TrialArguments,
    file: &ProcedureFile,
    results: &Results<'_>,
    proposal: Proposal,
) -> anyhow::Result<Proposed> {
    if !proposal.is_confirmed() {
        return Ok(Proposed { proposal, tables: None, written: None });
    }
    let tuned: Vec<_> = proposal
        .parts
        .iter()
        .flat_map(|part| part.values.iter().map(move |(tunable, value)| (part, *tunable, *value)))
        .map(|(part, tunable, value)| Tuned { tunable, value, why: report::why(results, part, tunable) })
        .collect();
    let written = match &arguments.proposal.output {
        Some(path) => {
            let head = format!(
                "Tuned by `bandward trial --suggest` on {} traces, from {} (SHA-256 {}): {} changed, each \
                 marked below. Give it a revision of its own before it is used.",
                results.sums.traces,
                file.file,
                file.sha256,
                if tuned.len() == 1 { "1 key".to_owned() } else { format!("{} keys", tuned.len()) }
            );
            output::write_new(path, tuned_text(file, &tuned, &head)?.as_bytes())?;
            Some(named(path))
        }
        None => None,
    };
    Ok(Proposed { proposal, tables: Some(tables(file, &tuned)?), written })
}

fn show(arguments: &TrialArguments, results: &Results<'_>) -> anyhow::Result<()> {
    if let Some(path) = &arguments.svg {
        output::write(path, picture::trade_off_svg(results).as_bytes())?;
    }
    if let Some(path) = &arguments.png {
        output::write(path, &picture::trade_off_png(results)?)?;
    }
    // Whoever reads it may end after the first line: the files are whole by then.
    if arguments.json {
        say_json(&report::json(results))
    } else if arguments.markdown {
        say(&report::markdown(results))
    } else {
        say(&report::text(results))
    }
}
