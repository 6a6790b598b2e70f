//! What is known about joints besides their traces.
//!
//! Decides: the options that tell it.
//! Assumes: all traces of one call were welded so; what is of one joint alone is asked of one trace.

use crate::dossier::{Beside, Dossier};
use crate::input::joint_field::{JointField, Stated};
use crate::input::joint_file::Claim;
use crate::output::printable;
use anyhow::bail;
use clap::Args;
use std::path::{Path, PathBuf};

/// Which joint it is, who welded, with what, and how warm the shop was.
#[derive(Args, Clone, Debug, Default)]
pub struct ContextArguments {
    /// The serial of the pipe or tool joint
    #[arg(long, value_name = "SERIAL", value_parser = |text: &str| stated(JointField::Serial, text))]
    serial: Option<Stated>,
    /// The end of the pipe: pin or box
    #[arg(long, value_name = "END", value_parser = |text: &str| stated(JointField::End, text))]
    end: Option<Stated>,
    /// When it was welded: local time with its offset, such as 2026-03-04T07:15:00+01:00
    #[arg(long, value_name = "TIME", value_parser = |text: &str| stated(JointField::WeldedAt, text))]
    welded_at: Option<Stated>,
    /// New bands or a repair: new, repair
    #[arg(long, value_name = "WORK", value_parser = |text: &str| stated(JointField::Work, text))]
    work: Option<Stated>,
    /// Was anything left of old bands: yes, no
    #[arg(long, value_name = "YES|NO", value_parser = |text: &str| stated(JointField::OldBands, text))]
    old_bands: Option<Stated>,
    /// Who welded
    #[arg(long, value_name = "NAME", value_parser = |text: &str| stated(JointField::Operator, text))]
    operator: Option<Stated>,
    /// The spool or batch of wire
    #[arg(long, value_name = "NAME", value_parser = |text: &str| stated(JointField::Spool, text))]
    spool: Option<Stated>,
    /// The gas bottle
    #[arg(long, value_name = "NAME", value_parser = |text: &str| stated(JointField::Bottle, text))]
    bottle: Option<Stated>,
    /// The certificate of the gas
    #[arg(long, value_name = "NAME", value_parser = |text: &str| stated(JointField::GasCertificate, text))]
    gas_certificate: Option<Stated>,
    /// The contact tip
    #[arg(long, value_name = "NAME", value_parser = |text: &str| stated(JointField::Tip, text))]
    tip: Option<Stated>,
    /// Temperature of the shop, such as "12 degC"
    #[arg(
        long, value_name = "TEMPERATURE", allow_hyphen_values = true,
        value_parser = |text: &str| stated(JointField::Ambient, text)
    )]
    ambient: Option<Stated>,
    /// Who the joint is, from a file; NAME.joint.toml beside the trace NAME.csv is read without being asked for
    #[arg(long, value_name = "FILE")]
    joint_file: Option<PathBuf>,
    /// What was found on the finished bands, as `bandward inspect` saves it; NAME.inspection.toml beside the trace is
    /// read without being asked for
    #[arg(long, value_name = "FILE")]
    inspection: Option<PathBuf>,
    /// Which joint of a log with several, from 1, the serial, the joint file, the inspection and the setup are of
    #[arg(long, value_name = "NUMBER", value_parser = clap::value_parser!(u16).range(1..=1000))]
    of_joint: Option<u16>,
}

fn stated(field: JointField, text: &str) -> Result<Stated, String> {
    // It would be kept as another serial than the one that stands on the pipe.
    if field == JointField::Serial && printable(text.trim()) != text.trim() {
        return Err("it has characters that cannot be printed; allowed: the serial as it stands on the pipe"
            .to_owned());
    }
    match field.parse(text) {
        Ok(Some(stated)) => Ok(stated),
        Ok(None) => Err("allowed: a text that is not empty".to_owned()),
        Err(refused) => Err(format!("{}; allowed: {}", refused.problem, refused.allowed)),
    }
}

impl ContextArguments {
    /// What was said, with the machine, which `--machine` names.
    pub fn claims(&self, machine: Option<&str>) -> Vec<Claim> {
        let machine = machine.and_then(|name| JointField::Machine.parse(name).ok().flatten());
        let told = [
            ("--serial", JointField::Serial, &self.serial),
            ("--end", JointField::End, &self.end),
            ("--machine", JointField::Machine, &machine),
            ("--operator", JointField::Operator, &self.operator),
            ("--spool", JointField::Spool, &self.spool),
            ("--bottle", JointField::Bottle, &self.bottle),
            ("--gas-certificate", JointField::GasCertificate, &self.gas_certificate),
            ("--tip", JointField::Tip, &self.tip),
            ("--ambient", JointField::Ambient, &self.ambient),
            ("--welded-at", JointField::WeldedAt, &self.welded_at),
            ("--work", JointField::Work, &self.work),
            ("--old-bands", JointField::OldBands, &self.old_bands),
        ];
        let claim = |(option, field, stated): (&str, JointField, &Option<Stated>)| {
            Some(Claim { field, stated: stated.clone()?, source: option.to_owned() })
        };
        told.into_iter().filter_map(claim).collect()
    }
    /// The files that were asked for, each with its option.
    pub fn files(&self) -> Vec<(&'static str, &Path)> {
        let named = [("--joint-file", &self.joint_file), ("--inspection", &self.inspection)];
        named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?))).collect()
    }
    /// The files about a joint: those that were asked for, else those beside its trace.
    ///
    /// # Errors
    /// One cannot be read, or has faults.
    pub fn beside(&self, trace: Option<&Path>) -> anyhow::Result<Beside> {
        Beside::read(trace, self.joint_file.as_deref(), self.inspection.as_deref())
    }
    /// The serial of the joint.
    #[cfg(feature = "register")]
    pub const fn serial(&self) -> Option<&Stated> {
        self.serial.as_ref()
    }
    /// Which joint of a log with several that is said of.
    pub const fn of_joint(&self) -> Option<u16> {
        self.of_joint
    }
    /// Refuses what was named outright and belongs to no joint that anybody knows of.
    ///
    /// # Errors
    /// Tells what, and how to say which joint it is of.
    pub fn refuse_unplaced(&self, dossier: &Dossier) -> anyhow::Result<()> {
        let is_named = self.serial.is_some() || self.of_joint.is_some() || !self.files().is_empty();
        match dossier.identity.unplaced.first().filter(|_| is_named) {
            Some(words) => bail!("{words}"),
            None => Ok(()),
        }
    }
    /// Refuses what is of one joint where there are several traces.
    ///
    /// # Errors
    /// Tells which option.
    pub fn check(&self, is_many: bool) -> anyhow::Result<()> {
        let of_one = [
            ("--serial", self.serial.is_some()),
            ("--welded-at", self.welded_at.is_some()),
            ("--joint-file", self.joint_file.is_some()),
            ("--inspection", self.inspection.is_some()),
            ("--of-joint", self.of_joint.is_some()),
        ];
        if let Some((option, _)) = of_one.into_iter().find(|&(_, is_given)| is_given && is_many) {
            bail!("{option} is of one joint, and there may be several traces; put a joint file beside each");
        }
        Ok(())
    }
}
