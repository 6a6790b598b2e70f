//! The serial link: what is sent arrives, and nothing that can happen to a line does harm.

use bandward::by_rule::ByRule;
use bandward::flash::journal::{FORM, Kept, Stamped};
use bandward::link::frame::{LONGEST_BODY, LONGEST_FRAME, crc};
use bandward::link::{
    BoardFaults, Counts, LONGEST_MESSAGE, LONGEST_PIECE, Lamp, MOST_ALARMS, Outputs, Receiver, Report,
    Request, Sender, Telemetry, VERSION,
};
use bandward::record::band::{Ending, Spread, WireFeedSource};
use bandward::record::joint::{Shortfall, Shortfalls};
use bandward::record::proof::{Proof, Why};
use bandward::record::stamp::{LONGEST_SERIAL, Serial, Stamp};
use bandward::rule::RuleSet;
use bandward::sample::ChannelSet;
use bandward::units::{Current, FlowRate, Voltage, WeaveRate};
use bandward::{
    ActiveAlarm, BandRecord, Channel, JointRecord, Outcome, Phase, Position, Procedure, Quantity, Rule,
    Sample, Severity, SoFar, delta, units,
};
use proptest::prelude::*;

fn framed(sender: &mut Sender, message: &impl serde::Serialize) -> Vec<u8> {
    sender.frame(message, &mut [0; LONGEST_FRAME]).unwrap().to_vec()
}

/// Every message that comes out of `line`, in its postcard form.
fn received(receiver: &mut Receiver, line: &[u8]) -> Vec<Vec<u8>> {
    line.iter()
        .filter_map(|&byte| receiver.push::<Request>(byte).map(|m| postcard::to_allocvec(&m).unwrap()))
        .collect()
}

/// Check value "123456789" of CRC-32/ISO-HDLC: the Catalogue of parametrised CRC algorithms, from
/// memory.
#[test]
fn the_checksum_is_the_published_one() {
    assert_eq!(crc(b"123456789"), 0xCBF4_3926);
}

/// Byte-stuffing examples after Cheshire & Baker, "Consistent Overhead Byte Stuffing", IEEE/ACM
/// Transactions on Networking 7 (1999); from memory.
#[test]
fn frames_hold_no_zero_but_their_delimiters() {
    for (plain, stuffed) in [
        (&[0x00][..], &[0x01, 0x01][..]),
        (&[0x11, 0x22, 0x00, 0x33], &[0x03, 0x11, 0x22, 0x02, 0x33]),
        (&[0x11, 0x00, 0x00, 0x00], &[0x02, 0x11, 0x01, 0x01, 0x01]),
    ] {
        let mut out = [0; 16];
        let used = cobs::try_encode(plain, &mut out).unwrap();
        assert_eq!(&out[..used], stuffed);
    }
    let frame = framed(&mut Sender::new(), &Request::BenchSamples(&[0; 200]));
    assert_eq!((frame[0], frame[frame.len() - 1]), (0, 0));
    assert!(frame[1..frame.len() - 1].iter().all(|&byte| byte != 0));
}

/// A record in which every number takes as many bytes as it can.
fn longest_record() -> BandRecord {
    macro_rules! low {
        ($unit:ident) => {
            Some(units::$unit::from_bits(i32::MIN))
        };
    }
    fn spread<Q: Copy>(value: Option<Q>) -> Option<Spread<Q>> {
        value.map(|value| Spread { mean: value, minimum: value, maximum: value, deviation: value })
    }
    BandRecord {
        band: u16::MAX,
        start_us: u64::MAX,
        end_us: u64::MAX,
        arc_time_us: u64::MAX,
        samples: u32::MAX,
        outages: u16::MAX,
        current: spread::<Current>(low!(Current)),
        voltage: spread::<Voltage>(low!(Voltage)),
        gas: spread::<FlowRate>(low!(FlowRate)),
        weave_rate: spread::<WeaveRate>(low!(WeaveRate)),
        arc_power: low!(Power),
        arc_energy: low!(EnergyPerLength),
        weave_width: low!(Length),
        weave_centre_drift: low!(Length),
        turned: low!(Degrees),
        turn_time: low!(Duration),
        overlap: low!(Degrees),
        step_over: low!(Length),
        short_circuits: low!(EventRate),
        wire_feed: low!(WireSpeed),
        wire_feed_source: Some(WireFeedSource::EstimatedFromCurrent),
        band_height: low!(Length),
        gas_preflow: low!(Duration),
        gas_postflow: low!(Duration),
        coolant_minimum: low!(FlowRate),
        work_at_start: low!(Temperature),
        outside_us: ByRule::all(u32::MAX),
        violated: every_rule(),
        advised: every_rule(),
        proof: ByRule::all(Proof::NotProven { judged_percent: 100, why: Why::EndUnseen, waived: true }),
        outcome: Outcome::Broken,
        joint: u16::MAX,
        group: u8::MAX,
        opens_group: true,
        stepped_in: true,
        start_unseen: true,
        ending: Ending::SteppedOn,
    }
}

fn longest_joint() -> JointRecord {
    JointRecord {
        joint: u16::MAX,
        start_us: u64::MAX,
        end_us: u64::MAX,
        bands: u16::MAX,
        bands_expected: u16::MAX,
        outcome: Outcome::Broken,
        broken: every_rule(),
        not_proven: every_rule(),
        shortfalls: Shortfall::ALL.into_iter().fold(Shortfalls::NONE, Shortfalls::with),
        cooling: Proof::NotProven { judged_percent: 100, why: Why::EndUnseen, waived: true },
        fastest_cooling: Some(units::CoolingRate::from_bits(i32::MIN)),
    }
}

fn every_rule() -> RuleSet {
    Rule::ALL.into_iter().fold(RuleSet::EMPTY, RuleSet::with)
}

fn longest_telemetry() -> Telemetry {
    let full = |sample: Sample, channel| sample.with_raw(channel, i32::MIN);
    let most = u32::MAX;
    Telemetry {
        readings: Channel::ALL.into_iter().fold(Sample::at(u64::MAX), full),
        judged: [Some(i32::MIN); Quantity::COUNT],
        phase: Phase::PostFlow,
        position: Position { band: u16::MAX, turned: Some(units::Degrees::from_bits(i32::MIN)) },
        alarms: [Some(ActiveAlarm {
            rule: Rule::SignalMissing,
            channel: Some(Channel::Carriage),
            severity: Severity::Stop,
            acknowledged: true,
            shelved: true,
        }); MOST_ALARMS],
        so_far: SoFar {
            joint_number: u16::MAX,
            bands: u16::MAX,
            band: Outcome::Broken,
            joint: Outcome::Broken,
            broken_in_band: every_rule(),
            broken_in_joint: every_rule(),
            not_proven: every_rule(),
        },
        outputs: Outputs { relay_energised: true, lamp: Lamp::On, horn: true },
        returned: every_rule(),
        faults: BoardFaults {
            bad_configuration: true,
            missed_deadline: true,
            watchdog_reset: true,
            bad_clock: true,
            wrong_rate: true,
            silent: ChannelSet::ALL,
            unwatched_arc: true,
            journal: true,
            relay: true,
            started: true,
        },
        is_bench: true,
        dropped: most,
        counts: Counts {
            taken: most,
            garbage: most,
            truncated: most,
            oversized: most,
            replayed: most,
            unknown: most,
            missed: most,
        },
        black_box_frozen: true,
    }
}

#[test]
fn the_longest_messages_fit() {
    for record in [Kept::BenchBand(longest_record()), Kept::BenchJoint(longest_joint())] {
        let stamp = Stamp { began_utc_s: Some(u32::MAX), serial: Serial::new(&[b'~'; LONGEST_SERIAL]) };
        assert!(stamp.serial.is_some());
        let report = Report::<&[u8]>::Journal { number: u32::MAX, record, stamp };
        let length = postcard::to_allocvec(&report).unwrap().len();
        assert!(length <= LONGEST_MESSAGE, "{length}");
        // The journal keeps the version of its form and a checksum beside it, in as much room.
        let kept = postcard::to_allocvec(&(FORM, u32::MAX, Some(Stamped { record, stamp }))).unwrap().len()
            + size_of::<u32>();
        assert!(kept <= LONGEST_MESSAGE, "{kept}");
    }
    let telemetry = Report::<&[u8]>::Telemetry(longest_telemetry());
    let length = postcard::to_allocvec(&telemetry).unwrap().len();
    assert!(length <= LONGEST_MESSAGE, "{length}");
    let piece = [0xff; LONGEST_PIECE];
    for message in [Request::BenchSamples(&piece), Request::UploadPiece { offset: u16::MAX, bytes: &piece }] {
        assert!(Sender::new().frame(&message, &mut [0; LONGEST_FRAME]).is_some());
    }
    let procedure = postcard::to_allocvec(&Procedure::new()).unwrap().len();
    assert!(procedure < bandward::link::upload::LONGEST_PROCEDURE, "{procedure}");
}

#[test]
fn a_message_too_long_is_not_sent() {
    let message = Request::BenchSamples(&[1; LONGEST_MESSAGE]);
    assert!(Sender::new().frame(&message, &mut [0; LONGEST_FRAME]).is_none());
}

#[test]
fn a_replayed_frame_is_dropped_and_counted() {
    let mut sender = Sender::new();
    let hello = framed(&mut sender, &Request::Hello);
    let first = framed(&mut sender, &Request::Acknowledge);
    let second = framed(&mut sender, &Request::ReadBlackBox { from: 0 });
    let mut receiver = Receiver::new();
    for frame in [&hello, &first, &first, &second, &first, &second] {
        received(&mut receiver, frame);
    }
    let counts = receiver.counts();
    assert_eq!((counts.taken, counts.replayed, counts.missed), (3, 3, 0));
    // A host that starts again opens a new conversation.
    let again = framed(&mut Sender::new(), &Request::Hello);
    assert_eq!(received(&mut receiver, &again).len(), 1);
}

#[test]
fn a_lost_frame_is_counted() {
    let mut sender = Sender::new();
    let frames: Vec<_> = (0..10).map(|_| framed(&mut sender, &Request::Acknowledge)).collect();
    let mut receiver = Receiver::new();
    for frame in [&frames[0], &frames[1], &frames[5], &frames[9]] {
        received(&mut receiver, frame);
    }
    assert_eq!(receiver.counts().missed, 3 + 3);
}

#[test]
fn half_a_frame_costs_no_more_than_itself() {
    let mut sender = Sender::new();
    let whole = framed(&mut sender, &Request::BenchSamples(&[7; 100]));
    for cut in 1..whole.len() - 1 {
        let mut receiver = Receiver::new();
        received(&mut receiver, &whole[..cut]);
        let next = framed(&mut sender, &Request::Acknowledge);
        assert_eq!(received(&mut receiver, &next).len(), 1, "cut after {cut} bytes");
        let counts = receiver.counts();
        // A cut right after the delimiter leaves nothing to count.
        assert_eq!(counts.truncated + counts.garbage, u32::from(cut > 1), "cut after {cut} bytes");
    }
}

#[test]
fn an_oversized_frame_is_counted_once_and_skipped() {
    let mut receiver = Receiver::new();
    for length in [LONGEST_BODY + 10, 10 * LONGEST_BODY] {
        let before = receiver.counts().oversized;
        received(&mut receiver, &vec![0xff; length]);
        assert_eq!(receiver.counts().oversized, before + 1);
        received(&mut receiver, &[0]);
    }
    assert_eq!(received(&mut receiver, &framed(&mut Sender::new(), &Request::Hello)).len(), 1);
}

#[test]
fn another_version_is_not_understood() {
    let mut body = vec![VERSION + 1, 0, 0, 0, 0, 0];
    body.extend(crc(&body).to_le_bytes());
    let mut line = [0; 64];
    let used = cobs::try_encode(&body, &mut line[1..]).unwrap();
    let mut receiver = Receiver::new();
    assert!(received(&mut receiver, &line[..used + 2]).is_empty());
    assert_eq!(receiver.counts().unknown, 1);
}

/// What may happen to a frame on its way.
#[derive(Clone, Debug)]
enum Fault {
    None,
    Lost,
    Repeated,
    Cut(usize),
    Flipped(usize, u8),
    Noise(Vec<u8>),
}

fn fault() -> impl Strategy<Value = Fault> {
    prop_oneof![
        4 => Just(Fault::None),
        1 => Just(Fault::Lost),
        1 => Just(Fault::Repeated),
        1 => (0_usize..400).prop_map(Fault::Cut),
        2 => (0_usize..400, 0_u8..8).prop_map(|(at, bit)| Fault::Flipped(at, bit)),
        1 => prop::collection::vec(any::<u8>(), 0..600).prop_map(Fault::Noise),
    ]
}

impl Fault {
    /// The frame as it arrives, and whether a sound copy is in it.
    fn on(&self, mut frame: Vec<u8>) -> (Vec<u8>, bool) {
        match self {
            Self::None => (frame, true),
            Self::Lost => (Vec::new(), false),
            Self::Repeated => (frame.repeat(2), true),
            Self::Cut(at) => {
                frame.truncate(*at % frame.len());
                (frame, false)
            }
            Self::Flipped(at, bit) => {
                let at = *at % frame.len();
                frame[at] ^= 1 << bit;
                (frame, false)
            }
            Self::Noise(noise) => ([noise.clone(), frame].concat(), true),
        }
    }
}

proptest! {
    #[test]
    fn every_message_of_any_content_arrives(
        pieces in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..=LONGEST_PIECE), 1..20)
    ) {
        let (mut sender, mut receiver) = (Sender::new(), Receiver::new());
        for piece in &pieces {
            let message = Request::BenchSamples(piece);
            let out = received(&mut receiver, &framed(&mut sender, &message));
            prop_assert_eq!(out, vec![postcard::to_allocvec(&message).unwrap()]);
        }
    }

    /// Whatever happens, what comes out was sent, once, in order; and a frame that was not touched
    /// arrives.
    #[test]
    fn nothing_is_invented_on_a_bad_line(
        faults in prop::collection::vec((prop::collection::vec(any::<u8>(), 0..200), fault()), 1..30)
    ) {
        let (mut sender, mut receiver) = (Sender::new(), Receiver::new());
        let (mut sent, mut arrived, mut whole) = (Vec::new(), Vec::new(), Vec::new());
        for (number, (content, fault)) in faults.iter().enumerate() {
            // The number makes every message different.
            let message = Request::UploadPiece { offset: number as u16, bytes: content };
            let bytes = postcard::to_allocvec(&message).unwrap();
            let (line, sound) = fault.on(framed(&mut sender, &message));
            if sound {
                whole.push(bytes.clone());
            }
            sent.push(bytes);
            arrived.extend(received(&mut receiver, &line));
        }
        let mut rest = sent.iter();
        for message in &arrived {
            prop_assert!(rest.any(|one| one == message), "not sent, twice, or out of order");
        }
        for message in &whole {
            prop_assert!(arrived.contains(message), "an untouched frame was lost");
        }
        prop_assert_eq!(receiver.counts().taken as usize, arrived.len());
    }

    #[test]
    fn noise_neither_panics_nor_passes(noise in prop::collection::vec(any::<u8>(), 0..5000)) {
        let mut receiver = Receiver::new();
        prop_assert!(received(&mut receiver, &noise).is_empty());
        prop_assert!(delta::Decoder::new(&noise).take(noise.len() + 1).count() <= noise.len());
    }
}
