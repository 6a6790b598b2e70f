//! What a watch tells a broker.
//!
//! Decides: what is promised, and how often the state goes out where nothing has changed much.
//! Assumes: it is asked at every look.
//! Never: shows a password, nor makes the watch wait but at the end.

use crate::output::terminal::remark;
use crate::publish::Publisher;
use crate::publish::address::BrokerAddress;
use crate::publish::login::Login;
use crate::watch::ledger::News;
use crate::watch::urgent::Pace;
use crate::watch::view::View;
use crate::watch::{lines, snapshot};
use anyhow::bail;
use bandward::Event;
use bandward::flash::journal::Kept;
use clap::Args;
use rumqttc::Transport;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

/// Between two states where nothing has changed much.
const PACE: Duration = Duration::from_secs(1);

/// How it is asked for.
#[derive(Args)]
pub struct PublishArguments {
    /// Publish state, alarms, bands and joints to an MQTT broker, below a topic: `mqtt://HOST[:PORT]/TOPIC`
    #[arg(long, value_name = "URL", value_parser = BrokerAddress::read, help_heading = "To a broker")]
    publish: Option<BrokerAddress>,
    /// User and password for the broker, a line each; else `BANDWARD_PUBLISH_USER` and `BANDWARD_PUBLISH_PASSWORD`
    #[arg(long, value_name = "FILE", requires = "publish", help_heading = "To a broker")]
    publish_login: Option<PathBuf>,
    /// Whose certificates are believed with mqtts://, as PEM [default: those this machine believes]
    #[cfg(feature = "publish-tls")]
    #[arg(long, value_name = "FILE", requires = "publish", help_heading = "To a broker")]
    publish_ca: Option<PathBuf>,
}

impl PublishArguments {
    /// What is read, each with its option.
    pub(super) fn files(&self) -> impl Iterator<Item = (&'static str, &Path)> {
        let named = [
            ("--publish-login", &self.publish_login),
            #[cfg(feature = "publish-tls")]
            ("--publish-ca", &self.publish_ca),
        ];
        named.into_iter().filter_map(|(option, path)| Some((option, path.as_deref()?)))
    }
    /// Is anything published?
    pub(super) const fn is_any(&self) -> bool {
        self.publish.is_some()
    }
}

/// How the bytes go to a broker at this address.
#[cfg(feature = "publish-tls")]
fn transport(arguments: &PublishArguments, address: &BrokerAddress) -> anyhow::Result<Transport> {
    if address.is_tls {
        let checks = crate::publish::trust::checks(arguments.publish_ca.as_deref())?;
        return Ok(Transport::tls_with_config(rumqttc::TlsConfiguration::Rustls(checks)));
    }
    if arguments.publish_ca.is_some() {
        bail!("--publish-ca is of no use with {address}: mqtts:// is checked, mqtt:// is not");
    }
    Ok(Transport::Tcp)
}

#[cfg(not(feature = "publish-tls"))]
fn transport(_: &PublishArguments, address: &BrokerAddress) -> anyhow::Result<Transport> {
    if address.is_tls {
        bail!("{address}: this program was built without TLS; build it with --features publish-tls");
    }
    Ok(Transport::Tcp)
}

struct Published {
    publisher: Publisher,
    address: BrokerAddress,
    pace: Pace,
    told: Option<Result<(), String>>,
}

/// What is told to a broker, if there is one.
pub(super) struct Publication(Option<Published>);

impl Publication {
    /// Begins to connect, if it is asked for.
    pub(super) fn start(arguments: &PublishArguments) -> anyhow::Result<Self> {
        let Some(address) = arguments.publish.clone() else { return Ok(Self(None)) };
        let transport = transport(arguments, &address)?;
        let login = Login::find(arguments.publish_login.as_deref())?;
        if login.is_some() && !address.is_tls && !address.is_local() {
            remark(
                "note: user and password go to the broker as they are; whoever listens in the network can read them. mqtts:// encrypts them",
            );
        }
        let publisher = Publisher::start(&address, login, transport)?;
        Ok(Self(Some(Published { publisher, address, pace: Pace::every(PACE), told: None })))
    }
    /// Is there a broker?
    pub(super) const fn is_any(&self) -> bool {
        self.0.is_some()
    }
    /// Takes what was said: alarms, finished bands and joints are promised.
    pub(super) fn take(&self, news: &[News]) {
        let Some(published) = &self.0 else { return };
        for one in news {
            let kind = match one {
                News::Event(Event::Alarm(_)) => "alarm",
                News::Band(_) => "band",
                News::Joint(_) => "joint",
                News::Bench(kept) => match **kept {
                    Kept::Band(_) | Kept::BenchBand(_) => "band",
                    Kept::Joint(_) | Kept::BenchJoint(_) => "joint",
                },
                News::Event(_) => continue,
            };
            published.publisher.promise(kind, lines::line(one));
        }
    }
    /// Tells the state, if it is time to.
    pub(super) fn show(&mut self, view: &View, now: Instant) {
        let Some(published) = &mut self.0 else { return };
        if published.pace.is_due(view, now) {
            // Whoever reads it there can ask for nothing.
            published.publisher.tell(snapshot::of(view, &[]));
        }
    }
    /// How it stands, in few words.
    pub(super) fn words(&self) -> Option<String> {
        let publisher = &self.0.as_ref()?.publisher;
        Some(match (publisher.connection(), publisher.waiting()) {
            (Ok(()), _) => "broker connected".to_owned(),
            (Err(_), (0, _)) => "NO BROKER".to_owned(),
            (Err(_), (waiting, _)) => format!("NO BROKER, {waiting} waiting"),
        })
    }
    /// A line about the connection, where that has changed.
    pub(super) fn news(&mut self) -> Option<Value> {
        let published = self.0.as_mut()?;
        let connection = published.publisher.connection();
        if published.told.as_ref() == Some(&connection) {
            return None;
        }
        let line = json!({
            "event": "broker", "address": published.address.to_string(),
            "connected": connection.is_ok(), "why": connection.as_ref().err(),
        });
        published.told = Some(connection);
        Some(line)
    }
    /// Hands over what is left.
    ///
    /// # Errors
    /// Not all of it arrived.
    pub(super) fn end(self) -> anyhow::Result<()> {
        let Some(Published { publisher, address, .. }) = self.0 else { return Ok(()) };
        let why = publisher.connection().err();
        let (waiting, left_out) = publisher.end();
        if waiting > 0 || left_out > 0 {
            let why = why.map_or(String::new(), |why| format!(": {why}"));
            bail!(
                "{} of the alarms, bands and joints did not reach {address}{why}",
                waiting as u64 + left_out
            );
        }
        Ok(())
    }
}
