//! What waits for the broker.
//!
//! Decides: what goes next, and what is left out where too much waits: the oldest that is not on its way.
//! Assumes: a broker tells of each promised message that it has it, in whatever order.
//! Never: holds more than [`MOST_WAITING`] messages, more than [`MOST_BYTES`] of them, or more than one state.

use serde_json::{Value, json};
use std::collections::VecDeque;
use std::time::{Duration, Instant};

/// Promised messages that are kept.
pub const MOST_WAITING: usize = 4096;
/// Their texts together, bytes.
pub const MOST_BYTES: usize = 16 << 20;
/// A state that is older is not of now: whoever watches is stuck.
pub const STALE: Duration = Duration::from_secs(5);

/// The names below the topic.
pub const STATE: &str = "state";

/// A message that is promised to arrive.
#[derive(Debug)]
struct Promised {
    kind: &'static str,
    text: String,
    /// Handed over in this session.
    is_handed: bool,
    /// The number it has on its way.
    packet: Option<u16>,
}

/// What goes next.
#[derive(Debug, PartialEq, Eq)]
pub enum Next {
    /// The state: the newest takes the place of the last one.
    State(String),
    /// A promised message: below which topic, and what.
    Promised(&'static str, String),
    /// The last state of all, that nothing is known any more: promised too.
    Farewell(String),
    /// Everything is said: goodbye.
    Done,
}

/// What waits, and how it stands with the broker.
#[derive(Debug)]
pub struct Desk {
    run: String,
    waiting: VecDeque<Promised>,
    bytes: usize,
    number: u64,
    left_out: u64,
    state: Option<Value>,
    state_at: Instant,
    is_state_new: bool,
    is_stuck_told: bool,
    /// Is there one; else why not.
    session: Result<(), String>,
    is_ending: bool,
    farewell: Farewell,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Farewell {
    NotSaid,
    Handed,
    Done,
}

impl Desk {
    /// Nothing waits; `run` is the name of this run.
    pub fn new(run: String, now: Instant) -> Self {
        Self {
            run,
            waiting: VecDeque::new(),
            bytes: 0,
            number: 0,
            left_out: 0,
            state: None,
            state_at: now,
            is_state_new: false,
            is_stuck_told: false,
            session: Err("connecting".to_owned()),
            is_ending: false,
            farewell: Farewell::NotSaid,
        }
    }
    /// Takes a message that is promised: a line of what happens, `kind` below which topic.
    pub fn promise(&mut self, kind: &'static str, mut line: Value) {
        self.number += 1;
        self.mark(&mut line);
        line["number"] = self.number.into();
        let text = line.to_string();
        self.bytes += text.len();
        self.waiting.push_back(Promised { kind, text, is_handed: false, packet: None });
        while self.waiting.len() > MOST_WAITING || self.bytes > MOST_BYTES {
            let oldest = self.waiting.iter().position(|one| !one.is_handed);
            let Some(gone) = oldest.and_then(|oldest| self.waiting.remove(oldest)) else { break };
            self.bytes -= gone.text.len();
            self.left_out += 1;
        }
    }
    /// Takes the state of now.
    pub fn tell(&mut self, state: Value, now: Instant) {
        (self.state, self.state_at) = (Some(state), now);
        (self.is_state_new, self.is_stuck_told) = (true, false);
    }
    /// There is no more to come.
    pub const fn end(&mut self) {
        self.is_ending = true;
    }
    /// Is there no more to come?
    pub const fn is_ending(&self) -> bool {
        self.is_ending
    }
    /// What is to be said next, if anything.
    pub fn next(&mut self, now: Instant) -> Option<Next> {
        let is_stuck = now.saturating_duration_since(self.state_at) > STALE;
        if is_stuck && !self.is_stuck_told && !self.is_ending && self.state.is_some() {
            (self.is_stuck_told, self.is_state_new) = (true, false);
            return Some(Next::State(self.gone("the program that publishes this is stuck").to_string()));
        }
        if let Some(mut state) = self.state.clone().filter(|_| self.is_state_new && !self.is_ending) {
            self.is_state_new = false;
            self.mark(&mut state);
            state["is_gone"] = false.into();
            state["waiting"] = self.waiting.len().into();
            state["left_out"] = self.left_out.into();
            return Some(Next::State(state.to_string()));
        }
        if let Some(next) = self.waiting.iter_mut().find(|one| !one.is_handed) {
            next.is_handed = true;
            return Some(Next::Promised(next.kind, next.text.clone()));
        }
        match self.farewell {
            _ if !self.is_ending || !self.waiting.is_empty() => None,
            Farewell::NotSaid => {
                self.farewell = Farewell::Handed;
                Some(Next::Farewell(self.gone("the program that published this has ended").to_string()))
            }
            Farewell::Handed => None,
            Farewell::Done => Some(Next::Done),
        }
    }
    /// What a broker keeps when nothing is known any more.
    pub fn gone(&self, why: &str) -> Value {
        let mut state = json!({
            "is_gone": true, "is_old": true, "now": { "word": "GONE", "words": why, "tone": "stop" },
        });
        self.mark(&mut state);
        state
    }
    /// A will is made before anybody knows when it is read: it has no time.
    pub fn will(&self) -> Value {
        let mut will = self.gone("the program that published this is gone, or cannot reach the broker");
        if let Some(fields) = will.as_object_mut() {
            fields.remove("time");
        }
        will
    }
    fn mark(&self, line: &mut Value) {
        line["run"] = self.run.clone().into();
        line["time"] = jiff::Timestamp::now().to_string().into();
    }
    /// A session begins: whatever was on its way goes again.
    pub fn begin(&mut self) {
        (self.session, self.is_state_new) = (Ok(()), self.state.is_some());
        for one in &mut self.waiting {
            (one.is_handed, one.packet) = (false, None);
        }
        if self.farewell == Farewell::Handed {
            self.farewell = Farewell::NotSaid;
        }
    }
    /// The message handed over longest ago is on its way by this number.
    pub fn sent(&mut self, packet: u16) {
        if let Some(one) = self.waiting.iter_mut().find(|one| one.is_handed && one.packet.is_none()) {
            one.packet = Some(packet);
        }
    }
    /// The broker has what went by this number.
    pub fn arrived(&mut self, packet: u16) {
        match self.waiting.iter().position(|one| one.packet == Some(packet)) {
            Some(place) => {
                let one = self.waiting.remove(place);
                self.bytes -= one.map_or(0, |one| one.text.len());
            }
            None if self.farewell == Farewell::Handed && self.waiting.is_empty() => {
                self.farewell = Farewell::Done;
            }
            None => {}
        }
    }
    /// There is no session, and why.
    pub fn lost(&mut self, why: String) {
        self.session = Err(why);
    }
    /// How it stands with the broker.
    ///
    /// # Errors
    /// There is no session, and why.
    pub fn connection(&self) -> Result<(), String> {
        self.session.clone()
    }
    /// Promised messages that wait, and such as were left out.
    pub fn waiting(&self) -> (usize, u64) {
        (self.waiting.len(), self.left_out)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Value {
        serde_json::from_str(text).expect("JSON")
    }

    #[test]
    fn what_was_on_its_way_goes_again_in_its_order() {
        let now = Instant::now();
        let mut desk = Desk::new("run".into(), now);
        for index in 0..3 {
            desk.promise("alarm", json!({ "index": index }));
        }
        let numbers = |desk: &mut Desk| {
            let told = std::iter::from_fn(|| desk.next(now));
            told.filter_map(|next| match next {
                Next::Promised("alarm", text) => read(&text)["number"].as_u64(),
                _ => None,
            })
            .collect::<Vec<_>>()
        };
        desk.begin();
        assert_eq!(numbers(&mut desk), [1, 2, 3]);
        for packet in 1..=3 {
            desk.sent(packet);
        }
        // A broker may tell of the second before the first.
        desk.arrived(2);
        desk.lost("cut".into());
        desk.begin();
        assert_eq!(numbers(&mut desk), [1, 3]);
        desk.sent(7);
        desk.arrived(7);
        assert_eq!(desk.waiting(), (1, 0));
    }

    #[test]
    fn memory_is_bounded_the_newest_stay_and_the_gap_is_told() {
        let now = Instant::now();
        let mut desk = Desk::new("run".into(), now);
        for _ in 0..MOST_WAITING + 10 {
            desk.promise("alarm", json!({}));
        }
        assert_eq!(desk.waiting(), (MOST_WAITING, 10));
        desk.tell(json!({}), now);
        let Some(Next::State(state)) = desk.next(now) else { panic!("a state") };
        assert_eq!(read(&state)["left_out"], 10);
        let Some(Next::Promised(_, first)) = desk.next(now) else { panic!("a message") };
        assert_eq!(read(&first)["number"], 11);
        let large = "a".repeat(MOST_BYTES / 4);
        for _ in 0..9 {
            desk.promise("band", json!({ "large": large }));
        }
        // The one on its way stays.
        assert!(desk.waiting().0 <= 4 && desk.bytes <= MOST_BYTES, "{:?}", desk.waiting());
        desk.sent(1);
        desk.arrived(1);
        assert!(desk.waiting().0 <= 3);
    }

    #[test]
    fn only_the_newest_state_goes_and_a_stuck_one_is_called_gone() {
        let now = Instant::now();
        let mut desk = Desk::new("run".into(), now);
        assert_eq!(desk.next(now + STALE * 9), None, "nothing was known yet");
        for count in 0..5 {
            desk.tell(json!({ "count": count }), now);
        }
        let Some(Next::State(state)) = desk.next(now) else { panic!("a state") };
        assert_eq!((&read(&state)["count"], &read(&state)["is_gone"]), (&json!(4), &json!(false)));
        assert_eq!(desk.next(now + STALE), None);
        let Some(Next::State(state)) = desk.next(now + STALE * 2) else { panic!("a state") };
        assert_eq!((&read(&state)["is_gone"], &read(&state)["count"]), (&json!(true), &Value::Null));
        assert_eq!(desk.next(now + STALE * 3), None);
    }

    #[test]
    fn the_end_is_said_when_everything_promised_has_arrived() {
        let now = Instant::now();
        let mut desk = Desk::new("run".into(), now);
        desk.promise("joint", json!({}));
        desk.tell(json!({}), now);
        desk.end();
        assert!(matches!(desk.next(now), Some(Next::Promised("joint", _))));
        assert_eq!(desk.next(now), None);
        desk.sent(1);
        desk.arrived(1);
        assert!(matches!(desk.next(now), Some(Next::Farewell(_))));
        assert_eq!(desk.next(now), None);
        desk.begin();
        assert!(matches!(desk.next(now), Some(Next::Farewell(_))), "again in a new session");
        desk.sent(2);
        desk.arrived(2);
        assert_eq!(desk.next(now), Some(Next::Done));
    }
}
