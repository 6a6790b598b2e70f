//! The connection to a broker, on a thread of its own.
//!
//! Decides: when it is tried again, and how long the end may take.
//! Assumes: MQTT 3.1.1. A will is kept by the broker from the beginning of a session, and told by it where that ends
//! without a word (section 3.1.2.5).
//! Never: subscribes to anything, nor holds more on its way than [`MOST_ON_THE_WAY`].

use super::address::BrokerAddress;
use super::desk::{Desk, Next, STATE};
use super::login::Login;
use crate::threads;
use rumqttc::{AsyncClient, ConnectionError, Event, EventLoop, LastWill, MqttOptions, Outgoing, Packet, QoS};
use rumqttc::{ConnectReturnCode, StateError, Transport};
use serde_json::Value;
use std::fmt::Write as _;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};
use tokio::sync::Notify;

/// Promised messages that a broker has not answered yet.
const MOST_ON_THE_WAY: u16 = 20;
/// A broker that hears nothing for one and a half times as long tells the will.
const KEEP_ALIVE: Duration = Duration::from_secs(5);
/// A connection has to stand, and what is sent to be taken, within so long, s.
const PATIENCE_S: u64 = 5;
/// Between two tries.
const FIRST_PAUSE: Duration = Duration::from_millis(250);
const LONGEST_PAUSE: Duration = Duration::from_secs(15);
/// Between two looks at whether the state is still of now.
const LOOK: Duration = Duration::from_secs(1);
/// What is left may take so long at the end.
const LAST_WORDS: Duration = Duration::from_secs(5);
/// A state of a joint with many bands and alarms is some tens of kilobytes.
const LONGEST_PACKET: usize = 4 << 20;

/// A connection to a broker that is kept up until it is ended.
pub struct Publisher {
    shared: Arc<Shared>,
    thread: Option<JoinHandle<()>>,
}

struct Shared {
    desk: Mutex<Desk>,
    is_new: Notify,
}

impl Shared {
    fn desk(&self) -> MutexGuard<'_, Desk> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Publisher {
    /// Begins to connect, over `transport`.
    ///
    /// # Errors
    /// There are no random numbers for a name, or no thread.
    pub fn start(
        address: &BrokerAddress,
        login: Option<Login>,
        transport: Transport,
    ) -> anyhow::Result<Self> {
        let mut raw = [0; 6];
        getrandom::fill(&mut raw)
            .map_err(|error| anyhow::anyhow!("no random numbers for a name: {error}"))?;
        let run = raw.iter().fold(String::new(), |mut text, byte| {
            // Writing to a text cannot fail.
            let _ = write!(text, "{byte:02x}");
            text
        });
        let desk = Desk::new(run.clone(), Instant::now());
        // Every broker takes up to 23 letters and digits (section 3.1.3.1).
        let host = address.host.clone();
        let mut options = MqttOptions::new(format!("bandward{run}"), host, address.port);
        options.set_keep_alive(KEEP_ALIVE).set_inflight(MOST_ON_THE_WAY).set_transport(transport);
        options.set_max_packet_size(LONGEST_PACKET, LONGEST_PACKET);
        let topic = address.topic.clone();
        let (state, will) = (format!("{topic}/{STATE}"), desk.will().to_string());
        options.set_last_will(LastWill::new(state, will, QoS::AtLeastOnce, true));
        if let Some(login) = login {
            options.set_credentials(login.user, login.password);
        }
        let shared = Arc::new(Shared { desk: Mutex::new(desk), is_new: Notify::new() });
        let runtime = tokio::runtime::Builder::new_current_thread().enable_io().enable_time().build()?;
        let theirs = shared.clone();
        let thread = threads::start(move || {
            runtime.block_on(keep_up(&theirs, &options, &topic));
            // A name that is still looked up is not waited for.
            runtime.shutdown_background();
        })?;
        Ok(Self { shared, thread: Some(thread) })
    }
    /// Promises a message: it is kept until the broker has it.
    pub fn promise(&self, kind: &'static str, line: Value) {
        self.shared.desk().promise(kind, line);
        self.shared.is_new.notify_one();
    }
    /// Hands over the state of now.
    pub fn tell(&self, state: Value) {
        self.shared.desk().tell(state, Instant::now());
        self.shared.is_new.notify_one();
    }
    /// How it stands with the broker.
    ///
    /// # Errors
    /// There is no connection, and why.
    pub fn connection(&self) -> Result<(), String> {
        self.shared.desk().connection()
    }
    /// Promised messages that wait, and such as were left out.
    pub fn waiting(&self) -> (usize, u64) {
        self.shared.desk().waiting()
    }
    /// Hands over what waits, for some seconds at most; what is left then is lost with this program.
    pub fn end(mut self) -> (usize, u64) {
        self.shared.desk().end();
        self.shared.is_new.notify_one();
        let until = Instant::now() + LAST_WORDS;
        let is_at_work = || self.thread.as_ref().is_some_and(|thread| !thread.is_finished());
        // Without a connection, and with nothing that waits for one, there is nothing to wait for.
        let is_of_use = || self.connection().is_ok() || self.waiting().0 > 0;
        while is_at_work() && is_of_use() && Instant::now() < until {
            std::thread::sleep(Duration::from_millis(10));
        }
        // A thread that has not ended by now ends with the program.
        drop(self.thread.take());
        self.waiting()
    }
}

async fn keep_up(shared: &Shared, options: &MqttOptions, topic: &str) {
    let mut pause = FIRST_PAUSE;
    loop {
        let (client, mut events) = AsyncClient::new(options.clone(), 1);
        events.network_options.set_connection_timeout(PATIENCE_S);
        events.network_options.set_tcp_nodelay(true);
        let begun = begin(&mut events).await;
        let why = if let Err(why) = begun {
            why
        } else {
            shared.desk().begin();
            pause = FIRST_PAUSE;
            tokio::select! {
                why = listen(shared, &mut events) => why,
                () = speak(shared, &client, topic) => return,
            }
        };
        shared.desk().lost(in_words(&why));
        tokio::time::sleep(pause).await;
        pause = (pause * 2).min(LONGEST_PAUSE);
        if shared.desk().is_ending() {
            pause = FIRST_PAUSE;
        }
    }
}

async fn begin(events: &mut EventLoop) -> Result<(), ConnectionError> {
    loop {
        if let Event::Incoming(Packet::ConnAck(_)) = events.poll().await? {
            return Ok(());
        }
    }
}

/// Until the connection is lost, and why.
async fn listen(shared: &Shared, events: &mut EventLoop) -> ConnectionError {
    loop {
        match events.poll().await {
            Ok(Event::Outgoing(Outgoing::Publish(packet))) if packet > 0 => shared.desk().sent(packet),
            Ok(Event::Incoming(Packet::PubAck(answer))) => {
                shared.desk().arrived(answer.pkid);
                shared.is_new.notify_one();
            }
            Ok(_) => {}
            Err(why) => return why,
        }
    }
}

/// Until everything is said.
async fn speak(shared: &Shared, client: &AsyncClient, topic: &str) {
    let state = format!("{topic}/{STATE}");
    loop {
        let next = shared.desk().next(Instant::now());
        let said = match next {
            Some(Next::State(text)) => client.publish(&state, QoS::AtMostOnce, true, text).await,
            Some(Next::Farewell(text)) => client.publish(&state, QoS::AtLeastOnce, true, text).await,
            Some(Next::Promised(kind, text)) => {
                client.publish(format!("{topic}/{kind}"), QoS::AtLeastOnce, false, text).await
            }
            Some(Next::Done) => {
                // The broker has everything: how the goodbye fares changes nothing.
                let _ = client.disconnect().await;
                tokio::time::sleep(Duration::from_millis(100)).await;
                return;
            }
            None => {
                // A moment that passes without news is as good as news.
                let _ = tokio::time::timeout(LOOK, shared.is_new.notified()).await;
                continue;
            }
        };
        if said.is_err() {
            // The connection is gone, which is told by whoever listens.
            std::future::pending::<()>().await;
        }
    }
}

/// Why there is no connection, without what only a programmer reads.
fn in_words(why: &ConnectionError) -> String {
    match why {
        ConnectionError::ConnectionRefused(
            ConnectReturnCode::BadUserNamePassword | ConnectReturnCode::NotAuthorized,
        ) => "the broker refuses this user and password".to_owned(),
        ConnectionError::ConnectionRefused(code) => format!("the broker refuses: {code:?}"),
        ConnectionError::NetworkTimeout | ConnectionError::FlushTimeout => {
            format!("the broker has not answered within {PATIENCE_S} s")
        }
        ConnectionError::Io(error) | ConnectionError::MqttState(StateError::Io(error)) => error.to_string(),
        ConnectionError::MqttState(StateError::AwaitPingResp) => "the broker has gone silent".to_owned(),
        ConnectionError::MqttState(StateError::ConnectionAborted) => "the broker hung up".to_owned(),
        why => why.to_string(),
    }
}
