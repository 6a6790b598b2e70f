//! The serial link and the Modbus port: any bytes on the line.
//!
//! Decides: that a receiver takes those frames, in that order, which a reader of whole lines finds after LINK.md; that a
//! block of samples that can be read is written again as the same samples; that a procedure comes into force only as it
//! was announced; that messages which make sense are harmless to a monitor. For the Modbus port see [`super::modbus`].
//! Assumes: nothing of the bytes.
//! Never: uses the decoder of the link to check the decoder of the link.

use crate::bytes::Bytes;
use crate::modbus;
use bandward::blackbox::BlackBox;
use bandward::delta::{Decoder, Encoder, LONGEST_SAMPLE};
use bandward::link::frame::{LONGEST_BODY, LONGEST_FRAME};
use bandward::link::hard_limits::HardLimits;
use bandward::link::upload::{LONGEST_PROCEDURE, Upload, crc_of};
use bandward::link::{Receiver, Report, Request, Sender, VERSION};
use bandward::{BandRecord, Event, Monitor, Procedure, Sample, Sink, SoundProcedure};

/// CRC-32/ISO-HDLC bit by bit (polynomial 0xEDB88320 reflected, from memory; its check value is tested in `wire`).
fn crc(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(
            crc ^ u32::from(byte),
            |crc, _| if crc & 1 == 1 { crc >> 1 ^ 0xedb8_8320 } else { crc >> 1 },
        )
    })
}

/// Consistent overhead byte stuffing taken off (Cheshire & Baker 1999, from memory); none where it is cut short.
fn unstuffed(mut stuffed: &[u8]) -> Option<Vec<u8>> {
    let mut plain = Vec::new();
    while let Some((&code, rest)) = stuffed.split_first() {
        let length = usize::from(code) - 1;
        plain.extend(rest.get(..length)?);
        stuffed = &rest[length..];
        if code < 0xff && !stuffed.is_empty() {
            plain.push(0);
        }
    }
    Some(plain)
}

/// The messages of a line, in their postcard form, by LINK.md.
fn taken(line: &[u8]) -> Vec<Vec<u8>> {
    let mut last: Option<u32> = None;
    let mut taken = Vec::new();
    let Some(end) = line.iter().rposition(|&byte| byte == 0) else { return taken };
    for body in line[..end].split(|&byte| byte == 0).filter_map(unstuffed) {
        let Some((covered, sum)) = body.split_last_chunk::<4>() else { continue };
        let Some((&[version, a, b, c, d], message)) = covered.split_first_chunk::<5>() else { continue };
        if body.len() > LONGEST_BODY || crc(covered) != u32::from_le_bytes(*sum) || version != VERSION {
            continue;
        }
        let number = u32::from_le_bytes([a, b, c, d]);
        let Ok((request, [])) = postcard::take_from_bytes::<Request<'_>>(message) else { continue };
        let is_newer =
            last.is_none_or(|last| number != 0 && (1..1 << 31).contains(&number.wrapping_sub(last)));
        if is_newer || number == 0 && request == Request::Hello {
            last = Some(number);
            taken.push(postcard::to_allocvec(&request).expect("it was read"));
        }
    }
    taken
}

/// A line made of frames, of what becomes of frames, and of anything.
fn line(bytes: &mut Bytes<'_>) -> Vec<u8> {
    let mut line = Vec::new();
    let mut sender = Sender::new();
    while !bytes.is_empty() && line.len() < 1 << 14 {
        let kind = bytes.byte();
        let length = usize::from(bytes.byte());
        let content = bytes.run(length);
        let mut frame = [0; LONGEST_FRAME];
        match kind % 8 {
            0 => line.extend(content),
            1 => sender = Sender::new(),
            // A body of one's own, with a sum that fits.
            2 | 3 => {
                let covered = if kind & 8 == 0 { content.to_vec() } else { [&[VERSION], content].concat() };
                let body = [covered.as_slice(), &crc(&covered).to_le_bytes()].concat();
                let mut stuffed = vec![0; body.len() + body.len() / 254 + 2];
                let used = cobs::encode(&body, &mut stuffed);
                line.push(0);
                line.extend(&stuffed[..used]);
                line.push(0);
            }
            _ => {
                let request = match kind % 8 {
                    4 => Request::Hello,
                    5 => Request::BenchSamples(content),
                    6 => Request::UploadPiece { offset: length as u16, bytes: content },
                    _ => Request::ReadJournal { from: length as u32 },
                };
                let mut sent = sender.frame(&request, &mut frame).expect("it is short").to_vec();
                let at = usize::from(bytes.byte());
                match kind >> 4 {
                    0 => sent.truncate(at),
                    1 => sent.drain(..at.min(sent.len())).for_each(drop),
                    2 => sent = sent.repeat(2),
                    3 => {
                        if let Some(byte) = sent.get_mut(at) {
                            *byte ^= bytes.byte();
                        }
                    }
                    _ => {}
                }
                line.extend(sent);
            }
        }
    }
    line
}

fn link(bytes: &mut Bytes<'_>) {
    let line = line(bytes);
    let mut receiver = Receiver::new();
    let push = |&byte: &u8| {
        receiver.push::<Request<'_>>(byte).map(|one| postcard::to_allocvec(&one).expect("it fits"))
    };
    let found: Vec<_> = line.iter().filter_map(push).collect();
    assert_eq!(found, taken(&line), "{line:?}");
    assert_eq!(receiver.counts().taken as usize, found.len());
    // The host's end takes anything too.
    let mut receiver = Receiver::new();
    for &byte in &line {
        let _ = receiver.push::<Report<&[u8]>>(byte);
    }
}

fn block(bytes: &mut Bytes<'_>) {
    let samples: Vec<Sample> = Decoder::new(bytes.rest()).map_while(Result::ok).collect();
    let (mut encoder, mut written) = (Encoder::new(), Vec::new());
    for sample in &samples {
        let mut room = [0; LONGEST_SAMPLE];
        let used = encoder.push(sample, &mut room).expect("no sample is longer");
        written.extend(&room[..used]);
    }
    let again: Result<Vec<_>, _> = Decoder::new(&written).collect();
    assert_eq!(again.as_deref(), Ok(samples.as_slice()));
    // A black box gives the newest samples back, in order, as far as it has room.
    let mut kept = BlackBox::<3, 128>::new();
    for sample in &samples {
        kept.record(sample);
    }
    let kept: Vec<Sample> = kept
        .blocks()
        .flat_map(|block| Decoder::new(block).collect::<Result<Vec<_>, _>>().expect("whole"))
        .collect();
    assert!(
        samples.ends_with(&kept) && (kept.len() == samples.len() || !kept.is_empty()),
        "{samples:?} {kept:?}"
    );
}

fn upload(bytes: &mut Bytes<'_>) {
    let mut upload = Upload::new();
    // What was announced, and what came of it in order.
    let mut announced: Option<(usize, u32)> = None;
    let mut got: Vec<u8> = Vec::new();
    let sound = postcard::to_allocvec(&Procedure::new()).expect("it fits");
    while !bytes.is_empty() {
        match bytes.byte() % 4 {
            0 => {
                let (length, sum) = (bytes.word() as u16, bytes.word());
                let is_taken = upload.start(length, sum).is_ok();
                assert_eq!(is_taken, usize::from(length) <= LONGEST_PROCEDURE);
                (announced, got) = (is_taken.then_some((length.into(), sum)), Vec::new());
            }
            1 => {
                let offset = bytes.word() as u16;
                let length = bytes.byte();
                let piece = bytes.run(length.into());
                let fits = announced.is_some_and(|(length, _)| {
                    usize::from(offset) == got.len() && got.len() + piece.len() <= length
                });
                assert_eq!(upload.piece(offset, piece).is_ok(), fits);
                if fits {
                    got.extend(piece);
                }
            }
            2 => {
                let is_whole = announced.is_some_and(|(length, sum)| got.len() == length && crc(&got) == sum);
                let done = upload.commit(&HardLimits::NONE);
                if announced.is_some_and(|(length, _)| got.len() >= length) {
                    announced = None;
                }
                let Ok((procedure, sum)) = done else { continue };
                assert!(is_whole && sum == crc(&got));
                assert_eq!(postcard::from_bytes::<Procedure>(&got).as_ref(), Ok(&*procedure));
                assert_eq!(
                    postcard::to_allocvec(&*procedure).map(|bytes| crc(&bytes)),
                    Ok(crc_of(&procedure))
                );
            }
            _ => {
                // One that fits, so that there is more to come after it.
                let (at, mask) = (bytes.word() as usize, bytes.byte());
                let mut changed = sound.clone();
                let at = at % changed.len();
                changed[at] ^= mask;
                let started = upload.start(changed.len() as u16, crc(&changed));
                assert_eq!(started, Ok(()));
                announced = Some((changed.len(), crc(&changed)));
                assert_eq!(upload.piece(0, &changed), Ok(()));
                got = changed;
            }
        }
    }
}

struct Nobody;

impl Sink for Nobody {
    fn event(&mut self, _: &Event) {}
    fn band(&mut self, _: &BandRecord) {}
}

/// A bench test as messages tell it, whatever they tell.
fn bench(bytes: &mut Bytes<'_>) {
    let rest = bytes.rest();
    let (procedure, rest) = match postcard::take_from_bytes::<Procedure>(rest) {
        Ok((procedure, rest)) => (SoundProcedure::try_from(procedure).unwrap_or(SoundProcedure::NONE), rest),
        Err(_) => (SoundProcedure::NONE, rest),
    };
    let Ok((Request::BenchStart(acquisition), mut rest)) = postcard::take_from_bytes(rest) else { return };
    let mut monitor = Monitor::new(&procedure, acquisition);
    while let Ok((request, next)) = postcard::take_from_bytes(rest) {
        rest = next;
        match request {
            Request::BenchSamples(block) => {
                for sample in Decoder::new(block).map_while(Result::ok) {
                    monitor.step(&sample, &mut Nobody);
                }
            }
            Request::MarkJoint => monitor.mark_joint(0, &mut Nobody),
            Request::Shelve { rule, for_us } => monitor.shelve(rule, for_us, &mut Nobody),
            Request::Acknowledge => monitor.acknowledge(0, &mut Nobody),
            Request::BenchEnd => break,
            _ => {}
        }
    }
    monitor.finish(&mut Nobody);
}

/// What is fed, then the bytes.
pub fn target(bytes: &[u8]) {
    let bytes = &mut Bytes::new(bytes);
    match bytes.byte() % 5 {
        0 => link(bytes),
        1 => block(bytes),
        2 => upload(bytes),
        3 => bench(bytes),
        _ => modbus::port(bytes),
    }
}
