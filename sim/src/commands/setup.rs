//! `bandward setup`: what was measured before the arc, against the procedure.

use super::Outcome;
use super::setup_dialogue::{self, Asked};
use super::setup_unfinished::Unfinished;
use crate::input::procedure_file::ProcedureFile;
use crate::input::quantity::UnitSystem;
use crate::output::named;
use crate::output::terminal::{remark, say, say_json};
use crate::output::{self, printable};
#[cfg(feature = "register")]
use crate::register;
use crate::report;
use crate::setup::{Checked, Item, SetupSheet, Signature, check, sheet};
use crate::{demo, preferences};
use anyhow::bail;
use clap::Args;
use std::borrow::Cow;
use std::io::{IsTerminal as _, Write as _};
use std::path::{Path, PathBuf};

/// Compares what was measured before the arc with the procedure: asked for one by one, or from a file.
///
/// Says of every setting how far it is off, which way to adjust it, and what the band would look like if
/// it were not corrected; and whether settings that belong together fit each other.
#[derive(Args)]
#[command(
    after_help = "Examples:\n  bandward setup --procedure joint.procedure.toml --save joint.setup.toml --initials AB\n  \
bandward setup --procedure joint.procedure.toml --from joint.setup.toml\n\n\
Without --procedure the demo that comes with the program is used.\n\
Exit code 0: all the procedure limits was measured, or confirmed as on the last joint, and is within it; 1: something outside it; 2: could not \
do it; 3: nothing outside it, but not everything measured."
)]
pub struct SetupArguments {
    /// The procedure to compare with
    #[arg(long, short, value_name = "FILE")]
    procedure: Option<PathBuf>,
    /// What was measured, from a file, instead of being asked
    #[arg(long, value_name = "FILE")]
    from: Option<PathBuf>,
    /// Begin with the answers of the last joint, ask only for what changes from joint to joint, is
    /// missing or is wrong, and once whether the rest still stands; after 8 h all is asked anew
    #[arg(long, value_name = "FILE", conflicts_with = "from")]
    last: Option<PathBuf>,
    /// Write what was measured to a new file, which --from and `replay --setup` read
    #[arg(long, value_name = "FILE")]
    save: Option<PathBuf>,
    /// Write a setup card to print to a new file: one sheet in big type, with which way to turn what
    #[arg(long, value_name = "FILE.html")]
    card: Option<PathBuf>,
    /// Sign off with these initials
    #[arg(long, value_name = "INITIALS", value_parser = sheet::initials, requires = "save")]
    initials: Option<String>,
    /// Which joint it is for
    #[arg(long, value_name = "NAME")]
    joint: Option<String>,
    /// Adds the setup to this register, made where there is none; it stands for the joint with the serial --joint. The
    /// same setup is added once
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE")]
    register: Option<PathBuf>,
    /// One JSON object instead of text
    #[arg(long)]
    json: bool,
}

impl SetupArguments {
    /// What is made and was not there.
    fn new_files(&self) -> Vec<(&'static str, Cow<'_, Path>)> {
        let named = [("--save", &self.save), ("--card", &self.card)];
        let named = named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        named.map(|(option, path)| (option, Cow::Borrowed(path))).collect()
    }
    fn outputs(&self) -> Vec<(&'static str, Cow<'_, Path>)> {
        let outputs = self.new_files().into_iter();
        #[cfg(feature = "register")]
        let outputs =
            outputs.chain(self.register.iter().flat_map(|path| register::files("--register", path)));
        outputs.collect()
    }
}

/// Runs the command.
///
/// # Errors
/// A file cannot be read or written or has faults, or there is no terminal to ask in.
pub fn run(arguments: &SetupArguments, units: Option<UnitSystem>) -> anyhow::Result<Outcome> {
    let procedure = match &arguments.procedure {
        Some(path) => ProcedureFile::read(path)?,
        None => demo::procedure()?,
    };
    let read: [(&str, &Path); 0] = [];
    output::refuse_overlap(&read, &arguments.outputs())?;
    // What is there, an input or not, is never replaced; asked before anybody types an answer.
    if let Some((_, path)) = arguments.new_files().iter().find(|(_, path)| path.exists()) {
        bail!("{} is already there; choose another name, or move it away", named(path));
    }
    #[cfg(feature = "register")]
    arguments.register.as_deref().map_or(Ok(()), super::register::document::check)?;
    let system = preferences::units(units, Some(&procedure))?;
    let warned = if arguments.json { Ok(()) } else { say(&format!("{}\n", report::setup::cautions())) };
    if arguments.from.is_none() && warned.is_err() {
        // Nobody is asked who cannot read what to beware of.
        return warned.map(|()| Outcome::Done);
    }
    let unfinished = Unfinished::of_this_account(&procedure);
    let asked = match &arguments.from {
        Some(path) => Asked { sheet: SetupSheet::read(path)?, is_complete: false },
        None => ask(arguments.last.as_deref(), &procedure, system, &unfinished)?,
    };
    let mut sheet = asked.sheet;
    sheet.joint = arguments.joint.as_deref().map(|joint| printable(joint).into_owned()).or(sheet.joint);
    sheet.procedure_sha256 = Some(procedure.sha256.clone());
    let checked = check(&sheet, &procedure);
    if let Some(initials) = arguments.initials.clone() {
        sheet.signature = Some(signature(initials, &checked, &procedure));
    }
    // Whoever reads it may end after the first line: the files asked for are written nevertheless.
    let told = if arguments.json {
        say_json(&report::setup::json(&sheet, &checked, &procedure))
    } else {
        say(&report::setup::text(&sheet, &checked, &procedure, system))
    };
    if let Some(path) = &arguments.save {
        if arguments.initials.is_none() && arguments.from.is_none() {
            let initials =
                setup_dialogue::ask_initials(&mut std::io::stdin().lock(), &mut anstream::stderr())?;
            sheet.signature = initials.map(|initials| signature(initials, &checked, &procedure));
        }
        output::write_new(path, sheet.to_text().as_bytes())?;
        remark(&format!("{}; saved to {}", report::model::setup::signed(&sheet, &procedure), named(path)));
    }
    if let Some(path) = &arguments.card {
        let card = report::page::card::card(&sheet, &checked, &procedure, system);
        output::write_new(path, card.as_bytes())?;
    }
    #[cfg(feature = "register")]
    if let Some(path) = &arguments.register {
        super::register::document::setup(path, &sheet, &checked, &procedure)?;
    }
    warned.and(told)?;
    // What a file gave was typed by nobody.
    if arguments.from.is_none() && (asked.is_complete || arguments.save.is_some()) {
        unfinished.end();
    }
    Ok(Outcome::of(checked.outcome(), false))
}

fn ask(
    last: Option<&Path>,
    procedure: &ProcedureFile,
    system: UnitSystem,
    unfinished: &Unfinished,
) -> anyhow::Result<Asked> {
    let last = last
        .map(SetupSheet::read)
        .transpose()?
        .unwrap_or_default()
        .for_next_joint(procedure, jiff::Timestamp::now());
    let input = std::io::stdin();
    if !input.is_terminal() {
        bail!("there is no terminal to ask in; give what was measured with --from FILE");
    }
    let mut output = anstream::stderr();
    let begun = unfinished.offer(&mut input.lock(), &mut output)?.unwrap_or(last);
    let mut is_told = false;
    let keep = &mut |sheet: &SetupSheet| {
        if let Err(error) = unfinished.keep(sheet)
            && !std::mem::replace(&mut is_told, true)
        {
            remark(&format!("what is typed cannot be kept for the next run: {error:#}"));
        }
    };
    let asked = setup_dialogue::ask(begun, procedure, system, &mut input.lock(), &mut output, keep)?;
    writeln!(output)?;
    Ok(asked)
}

fn signature(initials: String, checked: &Checked, procedure: &ProcedureFile) -> Signature {
    Signature {
        initials,
        time: jiff::Timestamp::now().strftime("%Y-%m-%dT%H:%M:%SZ").to_string(),
        procedure_sha256: procedure.sha256.clone(),
        is_within_procedure: checked.is_within_procedure(),
        not_measured: match checked.outcome() {
            bandward::Outcome::NotProven => checked.not_measured().into_iter().map(Item::title).collect(),
            _ => Vec::new(),
        },
    }
}
