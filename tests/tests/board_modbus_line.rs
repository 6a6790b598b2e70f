//! The line of the Modbus port: which frames are taken, and that no line holds the board up.
//!
//! Assumes: nothing of who is on the line.

use crate::board_modbus_map::at;
use bandward::link::{Report, Request};
use bandward_firmware::board::Configuration;
use bandward_firmware::modbus::Settings;
use bandward_firmware::modbus::registers::VERSION;
use bandward_tests::controller::framed;
use bandward_tests::host_board::{MODBUS_ADDRESS, Start};
use bandward_tests::host_machine::{ARC, ARC_WITHOUT_GAS, GAS_ON, IDLE, Shop};

/// A byte changed, cut, or too many; another address; answers of others: nothing is said to it.
#[test]
fn what_is_no_frame_for_this_board_is_not_answered() {
    let mut shop = Shop::open();
    let good = framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 24]);
    let mut ignored = 0;
    for place in 0..good.len() {
        for bit in 0..8 {
            let mut changed = good.clone();
            changed[place] ^= 1 << bit;
            assert!(shop.bench.over_modbus(&changed).is_empty(), "{changed:02x?}");
            ignored += 1;
        }
    }
    for cut in 1..good.len() {
        assert!(shop.bench.over_modbus(&good[..cut]).is_empty(), "cut at {cut}");
        assert!(shop.bench.over_modbus(&good[cut..]).is_empty(), "from {cut}");
        ignored += 2;
    }
    // A length that is not that of the function, under a right CRC.
    for pdu in
        [vec![4], vec![4, 0, 0, 0], vec![4, 0, 0, 0, 1, 0], vec![5, 0, 0, 0xff], vec![0x84, 2], vec![255]]
    {
        let frame = framed(&[&[MODBUS_ADDRESS], pdu.as_slice()].concat());
        assert!(shop.bench.over_modbus(&frame).is_empty(), "{pdu:02x?}");
        ignored += 1;
    }
    // Too short to be one, and too long.
    for bytes in [vec![MODBUS_ADDRESS], vec![0, 0], framed(&[MODBUS_ADDRESS]), vec![0; 257], vec![0x11; 3000]]
    {
        assert!(shop.bench.over_modbus(&bytes).is_empty(), "{}", bytes.len());
        while !shop.bench.modbus.to_board.borrow().is_empty() {
            shop.bench.board.poll();
        }
        assert!(shop.bench.over_modbus(&[]).is_empty());
        ignored += 1;
    }
    // Others on the line, as asked and as answering: no fault of it.
    for frame in [framed(&[18, 4, 0, 0, 0, 1]), framed(&[18, 4, 2, 0, 1]), framed(&[248, 5, 0, 0, 0xff, 0])] {
        assert!(shop.bench.over_modbus(&frame).is_empty(), "{frame:02x?}");
    }
    assert_eq!(shop.bench.input(at("state", "frames_ignored")), ignored);
    assert_eq!(shop.bench.over_modbus(&good).len(), 53);
}

/// 3.5 characters of 11 bits at 9,600 baud are 4.01 ms ("MODBUS over Serial Line" V1.02, from memory).
#[test]
fn silence_and_nothing_else_ends_a_frame() {
    let start = Start::default();
    let configuration = Configuration {
        modbus: Settings::try_new(MODBUS_ADDRESS, 9_600).ok(),
        ..start.configuration.clone()
    };
    let mut shop = Shop::by(Start { configuration, ..start });
    let frame = framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 1]);
    let put = |shop: &Shop, bytes: &[u8]| shop.bench.modbus.to_board.borrow_mut().extend(bytes);
    let after = |shop: &mut Shop, us: u32| {
        shop.bench.wait(us);
        shop.bench.board.poll();
        shop.bench.answered()
    };
    // Byte by byte with 1 ms between: one frame, answered after the silence and not before.
    for byte in &frame {
        put(&shop, &[*byte]);
        assert!(after(&mut shop, 1_000).is_empty());
    }
    assert!(after(&mut shop, 4_000).is_empty());
    assert_eq!(after(&mut shop, 20), framed(&[MODBUS_ADDRESS, 4, 2, 0, VERSION as u8]));
    // A hole in it makes two, and neither is one.
    put(&shop, &frame[..5]);
    assert!(after(&mut shop, 0).is_empty());
    assert!(after(&mut shop, 4_100).is_empty());
    put(&shop, &frame[5..]);
    assert!(after(&mut shop, 0).is_empty());
    assert!(after(&mut shop, 4_100).is_empty());
    // Two without a silence between them are none.
    put(&shop, &[frame.clone(), frame.clone()].concat());
    assert!(after(&mut shop, 0).is_empty());
    assert!(after(&mut shop, 4_100).is_empty());
    put(&shop, &frame);
    assert!(after(&mut shop, 0).is_empty());
    assert_eq!(after(&mut shop, 4_100).len(), 7);
}

/// What is told to all is done and not answered; what is asked of all is ignored.
#[test]
fn what_is_told_to_all_is_done_and_not_answered() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    for pdu in
        [vec![4, 0, 0, 0, 1], vec![1, 0, 0, 0, 1], vec![7], vec![5, 0, 9, 0xff, 0], vec![5, 0, 0, 0, 9]]
    {
        assert!(shop.bench.over_modbus(&framed(&[&[0], pdu.as_slice()].concat())).is_empty(), "{pdu:02x?}");
    }
    assert!(shop.bench.horn.is_high());
    assert!(shop.bench.over_modbus(&framed(&[0, 5, 0, 0, 0xff, 0])).is_empty());
    assert!(!shop.bench.horn.is_high());
}

/// The answer to a press is its request over again: a driver that hands back what it sends presses once.
#[test]
fn the_echo_of_an_answer_is_no_request() {
    let mut shop = Shop::open();
    let press = framed(&[MODBUS_ADDRESS, 5, 0, 0, 0xff, 0]);
    shop.bench.modbus.to_board.borrow_mut().extend(&press);
    shop.bench.board.poll();
    shop.bench.wait(1_750);
    shop.bench.board.poll();
    let answer = shop.bench.answered();
    assert_eq!(answer, press);
    // 8 characters of 95.5 us at 115,200 baud: the last one comes back after 0.8 ms.
    for byte in answer {
        shop.bench.wait(96);
        shop.bench.modbus.to_board.borrow_mut().push_back(byte);
        shop.bench.board.poll();
    }
    for _ in 0..100 {
        shop.bench.wait(1_750);
        shop.bench.board.poll();
    }
    assert!(shop.bench.answered().is_empty());
    let taken = at("state", "requests_taken");
    assert_eq!(shop.bench.input(taken), 2, "the press, and this question");
    // Pressed again, it is a press.
    assert_eq!(shop.bench.over_modbus(&press), press);
    assert_eq!(shop.bench.over_modbus(&press), press);
    assert_eq!(shop.bench.input(taken), 5);
}

/// A line that takes a byte at a time gets the whole answer; one that takes none holds nothing up.
#[test]
fn a_slow_line_costs_time_and_nothing_else() {
    let mut shop = Shop::open();
    let frame = framed(&[MODBUS_ADDRESS, 4, 0x03, 0xe8, 0, 120]);
    shop.bench.modbus.room.set(Some(0));
    shop.bench.modbus.to_board.borrow_mut().extend(&frame);
    shop.run(1, IDLE);
    assert!(shop.bench.answered().is_empty());
    shop.bench.heard();
    shop.bench.send(&Request::Acknowledge);
    shop.run(1, IDLE);
    assert!(shop.bench.heard().contains(&Report::Acknowledged), "the host is served");
    let mut answer = Vec::new();
    for _ in 0..245 {
        shop.bench.modbus.room.set(Some(1));
        shop.bench.board.poll();
        answer.extend(shop.bench.answered());
    }
    assert_eq!(answer.len(), 245);
    assert_eq!(framed(&answer[..243]), answer);
    shop.bench.modbus.room.set(None);
    shop.run(1, IDLE);
    assert_eq!(shop.bench.input(0), VERSION);
}

/// A line that never falls silent: each poll takes a frame's worth of bytes, and the host is served beside it.
#[test]
fn a_flood_is_taken_in_parts_and_starves_nobody() {
    for is_of_frames in [false, true] {
        let mut shop = Shop::open();
        shop.bench.heard();
        let flood = framed(&[MODBUS_ADDRESS, 4, 0x03, 0xe8, 0, 120]);
        let (mut answers, mut states) = (0, 0);
        for _ in 0..3_000 {
            let waiting = shop.bench.modbus.to_board.borrow().len();
            if is_of_frames {
                shop.bench.modbus.to_board.borrow_mut().extend(&flood);
            } else {
                shop.bench.modbus.to_board.borrow_mut().extend([0x11; 1000]);
            }
            let before = shop.bench.modbus.to_board.borrow().len();
            assert!(before > waiting);
            shop.step(IDLE);
            let left = shop.bench.modbus.to_board.borrow().len();
            assert!(before - left <= 256, "{} bytes in one poll", before - left);
            shop.bench.send(&Request::Hello);
            // A silence, in which a frame is answered.
            shop.step(IDLE);
            for report in shop.bench.heard() {
                answers += u32::from(matches!(report, Report::Ready { .. }));
                states += u32::from(matches!(report, Report::Telemetry(_)));
            }
            if !is_of_frames {
                shop.bench.modbus.to_board.borrow_mut().truncate(2000);
            }
        }
        assert!(answers > 2_000 && states > 200, "{is_of_frames}: {answers} answers and {states} states");
        let served = shop.bench.answered().len();
        assert_eq!(served > 245 * 1_000, is_of_frames, "{served}");
    }
}

/// Without settings the second port is dead.
#[test]
fn without_settings_nothing_is_read_or_said() {
    let start = Start::default();
    let configuration = Configuration { modbus: None, ..start.configuration.clone() };
    let mut shop = Shop::by(Start { configuration, ..start });
    assert!(shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 1])).is_empty());
    assert_eq!(shop.bench.modbus.to_board.borrow().len(), 8);
    assert!(shop.bench.board.is_idle());
}

/// A frame that waits for its silence, and an answer that waits for the line, keep the board awake.
#[test]
fn the_board_does_not_sleep_over_a_frame() {
    let mut shop = Shop::open();
    shop.bench.poll();
    assert!(shop.bench.board.is_idle());
    shop.bench.modbus.room.set(Some(6));
    shop.bench.modbus.to_board.borrow_mut().extend(framed(&[MODBUS_ADDRESS, 4, 0, 0, 0, 1]));
    shop.bench.board.poll();
    assert!(!shop.bench.board.is_idle(), "a frame begun");
    shop.bench.wait(2_000);
    shop.bench.board.poll();
    assert!(!shop.bench.board.is_idle(), "an answer cut short");
    shop.bench.modbus.room.set(None);
    shop.bench.board.poll();
    assert!(shop.bench.board.is_idle());
    assert_eq!(shop.bench.answered(), framed(&[MODBUS_ADDRESS, 4, 2, 0, VERSION as u8]));
}
