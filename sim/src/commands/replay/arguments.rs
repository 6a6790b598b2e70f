//! The options of `bandward replay`.

use super::found::Found;
use super::pages;
use crate::commands::context::ContextArguments;
use crate::commands::pictures::PictureArguments;
use crate::dossier::Beside;
use crate::fleet::{FleetArguments, is_table};
use crate::output::named;
#[cfg(feature = "register")]
use crate::register;
use anyhow::bail;
use clap::Args;
use std::borrow::Cow;
use std::path::{Path, PathBuf};

/// Replays logged joints through the code that runs on the board.
///
/// Without a trace it replays the demo joint that comes with the program.
#[derive(Args)]
#[command(after_help = "Examples:\n  bandward replay --procedure joint.procedure.toml joint.csv\n  \
bandward replay --procedure joint.procedure.toml --report pages shift-1/ 'shift-2/*.csv.gz'\n\n\
Folders are searched, with the folders in them, for names that end in .csv, .csv.gz, .csv.zst or .parquet. Of \
several traces a summary comes first; one that cannot be read is told, and the others go on.\n\n\
Exit code 0: every limit of the procedure was judged and held (or no procedure was given); 1: something is \
broken; 2: could not do it, or no trace could be read; 3: nothing is broken, but not everything is proven, or \
a trace could not be read.")]
pub struct ReplayArguments {
    /// Traces: CSV (also .gz, .zst) or Parquet; folders of them; patterns such as 'shift/*.csv'; `-` is
    /// standard input
    pub(super) traces: Vec<PathBuf>,
    /// The procedure to judge by
    #[arg(long, short, value_name = "FILE")]
    pub(super) procedure: Option<PathBuf>,
    /// How the columns of another logger are to be read
    #[arg(long, short, value_name = "FILE")]
    pub(super) layout: Option<PathBuf>,
    /// One JSON object instead of text; of several traces one a line, and a summary in the last line
    #[arg(long)]
    pub(super) json: bool,
    /// The setup of the joint, saved by `bandward setup`: judged by the same procedure, shown below
    #[arg(long, value_name = "FILE")]
    pub(super) setup: Option<PathBuf>,
    #[command(flatten)]
    pub(super) pictures: PictureArguments,
    #[command(flatten)]
    pub(super) fleet: FleetArguments,
    #[command(flatten)]
    pub(super) context: ContextArguments,
    /// Adds the joints to this register, made where there is none; the same log judged the same way is added once.
    /// What is recorded there for a joint counts for the exit code
    #[cfg(feature = "register")]
    #[arg(long, value_name = "FILE")]
    pub(super) register: Option<PathBuf>,
}

impl ReplayArguments {
    /// What is read, each with what it is; of what lies beside a trace, what is there.
    pub(super) fn inputs<'a>(&'a self, found: &'a Found) -> Vec<(&'a str, Cow<'a, Path>)> {
        let named = [("--procedure", &self.procedure), ("--layout", &self.layout), ("--setup", &self.setup)];
        let named = named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)));
        let traces = found.files().map(|path| ("the trace", path));
        let named = named.chain(self.context.files()).chain(traces);
        let beside = found.files().flat_map(Beside::files).map(|(what, path)| (what, Cow::Owned(path)));
        named.map(|(what, path)| (what, Cow::Borrowed(path))).chain(beside).collect()
    }
    /// The folders that are written to, which hold no logs.
    pub(super) fn written(&self) -> Vec<&Path> {
        self.fleet.folder().into_iter().chain(self.pictures.report()).collect()
    }
    /// What is written, each with its option; of many logs each page.
    ///
    /// # Errors
    /// One of them is a table among those of `--parquet`.
    pub(super) fn outputs(&self, found: &Found) -> anyhow::Result<Vec<(&'static str, Cow<'_, Path>)>> {
        let pictures = self.pictures.outputs();
        let pages = self.pictures.report().filter(|_| found.is_many);
        let pages = pages.map(|folder| pages::paths(folder, &found.logs)).unwrap_or_default();
        let place = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
        let tables = self.fleet.folder().map(place);
        if let Some((option, path)) = pictures.iter().find(|(_, path)| {
            is_table(path) && tables.as_ref().is_some_and(|tables| place(path).starts_with(tables))
        }) {
            bail!("{option} {} is a table that --parquet writes: give it another name", named(path));
        }
        // Pages and tables may lie in one folder; nothing else may be where the tables' own is made.
        let shared = self.pictures.report().filter(|_| found.is_many).map(place);
        let folder = self.fleet.folder().filter(|folder| shared != Some(place(folder)));
        let outputs = folder.map(|folder| ("--parquet", folder)).into_iter().chain(pictures);
        let outputs = outputs.map(|(option, path)| (option, Cow::Borrowed(path)));
        let outputs = outputs.chain(pages.into_iter().map(|page| ("the page", Cow::Owned(page))));
        #[cfg(feature = "register")]
        let outputs =
            outputs.chain(self.register.iter().flat_map(|path| register::files("--register", path)));
        Ok(outputs.collect())
    }
    /// Does it matter which bytes a log has?
    pub(super) const fn is_witnessed(&self) -> bool {
        #[cfg(feature = "register")]
        if self.register.is_some() {
            return true;
        }
        self.pictures.is_any()
    }
}
