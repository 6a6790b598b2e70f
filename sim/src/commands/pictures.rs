//! Pages and pictures of a replay: which are asked for, and where they go.
//!
//! Decides: when they can be made.
//! Assumes: the trace has been replayed once.
//! Never: changes the verdict.

use crate::output;
use crate::output::named;
use crate::output::terminal::remark;
use crate::report::{Report, page, picture};
use anyhow::bail;
use clap::Args;
use std::path::{Path, PathBuf};

/// Which are asked for.
#[derive(Args)]
pub struct PictureArguments {
    /// Write one page (HTML) with everything on it: verdict, joint unrolled, alarms, traces
    #[arg(long, value_name = "FILE")]
    report: Option<PathBuf>,
    /// Write a picture (PNG): verdict, joint unrolled, traces
    #[arg(long, value_name = "FILE")]
    png: Option<PathBuf>,
}

impl PictureArguments {
    /// Is any asked for?
    pub const fn is_any(&self) -> bool {
        self.report.is_some() || self.png.is_some()
    }
    /// Those asked for, each with its option.
    pub fn outputs(&self) -> Vec<(&str, &Path)> {
        let named = [("--report", self.report.as_deref()), ("--png", self.png.as_deref())];
        named.into_iter().filter_map(|(option, path)| Some((option, path?))).collect()
    }
    /// Refuses what cannot be done, before any work.
    ///
    /// # Errors
    /// More than one trace for one page.
    pub fn check(&self, traces: usize) -> anyhow::Result<()> {
        if self.is_any() && traces > 1 {
            bail!("--report and --png show one trace, and {traces} are given: replay them one by one");
        }
        Ok(())
    }
    /// Writes them.
    ///
    /// # Errors
    /// A file cannot be written.
    pub fn write(&self, report: &Report<'_>) -> anyhow::Result<()> {
        if let Some(path) = &self.report {
            write(path, page::page(report).as_bytes())?;
        }
        if let Some(path) = &self.png {
            write(path, &picture::png(report)?)?;
        }
        Ok(())
    }
}

fn write(path: &Path, bytes: &[u8]) -> anyhow::Result<()> {
    output::write(path, bytes)?;
    remark(&format!("written: {}", named(path)));
    Ok(())
}
