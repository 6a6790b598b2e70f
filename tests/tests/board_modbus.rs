//! The Modbus port of the board program: what is old, what a press does, what is refused, and what no request can do.
//!
//! Decides: nothing about the map, whose oracle is `firmware-example/MODBUS.md`, nor about frames, whose oracle is
//! `rmodbus`.

use crate::board_modbus_map::{NO_NUMBER, NOT_KNOWN, at, read};
use crate::modbus_page::table;
use bandward::link::Request;
use bandward_tests::controller::framed;
use bandward_tests::host_board::MODBUS_ADDRESS;
use bandward_tests::host_machine::{
    ARC, ARC_WITHOUT_GAS, Doing, GAS_ON, IDLE, PERIOD_US, Shop, acquisition, procedure,
};
use proptest::prelude::*;

/// Without samples the age grows, and nothing old is shown as if it were new.
#[test]
fn what_is_old_is_not_known() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(5, ARC);
    let voltage = at("quantities", "voltage");
    assert_eq!(shop.bench.input(voltage) / 10, 290, "29.0 V");
    assert!(shop.bench.input(at("state", "age_ms")) < 300);
    assert_eq!((shop.bench.input(at("state", "state")), shop.bench.discretes(4, 1)[0]), (1, true));
    shop.bench.wait(2_000_000);
    shop.bench.board.poll();
    let state = read(&mut shop, "state");
    assert!((2_000..2_400).contains(&state["age_ms"]), "{}", state["age_ms"]);
    assert_eq!(state["state"], 3);
    for name in ["phase", "joint", "bands_finished", "band", "verdict_band", "verdict_joint", "verdict_shown"]
    {
        assert_eq!(state[name], NO_NUMBER, "{name}");
    }
    assert_eq!(state["turned"], NOT_KNOWN);
    for quantity in table("quantities") {
        assert_eq!(shop.bench.input(quantity.0), NOT_KNOWN, "{}", quantity.1[0]);
    }
    let discretes = shop.bench.discretes(0, 26);
    for (name, value) in
        [("state_current", false), ("band_open", false), ("proven", false), ("not_proven", true)]
    {
        assert_eq!(discretes[usize::from(at("discretes", name))], value, "{name}");
    }
    // However long it lasts, also past the wrap of the clock.
    for _ in 0..100 {
        shop.bench.wait(66_000_000);
        shop.bench.board.poll();
        assert_eq!(shop.bench.input(at("state", "age_ms")), 0xfffe);
        assert_eq!(shop.bench.input(at("state", "state")), 3);
    }
    shop.step(ARC);
    assert!(shop.bench.input(at("state", "age_ms")) < 100);
    assert_eq!(shop.bench.input(at("state", "state")), 1);
}

/// The counter moves with every sample judged, and with no other.
#[test]
fn the_counter_moves_with_every_sample_judged() {
    let mut shop = Shop::open();
    let count = |shop: &mut Shop| {
        let registers = shop.bench.inputs(at("state", "samples_judged_high"), 2);
        u32::from(registers[0]) << 16 | u32::from(registers[1])
    };
    let before = count(&mut shop);
    for samples in 1..=100 {
        shop.step(IDLE);
        assert_eq!(count(&mut shop), before + samples);
    }
    // One from the past is set aside.
    shop.bench.board.sample(&IDLE.at(1), false);
    assert_eq!(count(&mut shop), before + 100);
    for _ in 0..70_000 {
        shop.step(IDLE);
    }
    assert_eq!(count(&mut shop), before + 70_100);
}

/// A new watch has no state until its first sample is judged, whatever the watch before saw.
#[test]
fn a_new_watch_begins_with_nothing_known() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(5, ARC);
    shop.run(15, IDLE);
    shop.bench.upload(&procedure());
    let state = read(&mut shop, "state");
    assert_eq!((state["state"], state["age_ms"], state["phase"]), (0, NO_NUMBER, NO_NUMBER));
    shop.step(IDLE);
    assert_eq!(shop.bench.input(at("state", "state")), 1);
    shop.bench.ask(&Request::BenchStart(acquisition()));
    assert_eq!(read(&mut shop, "state")["state"], 0);
    shop.bench.bench_samples((0..500).map(|i| GAS_ON.at(i * PERIOD_US)));
    assert_eq!(read(&mut shop, "state")["state"], 2);
}

/// The coil is the button: the horn falls silent, and the relay waits for the end of its cause.
#[test]
fn acknowledging_is_what_the_button_does_and_no_more() {
    let mut shop = Shop::open();
    let coil = at("coils", "acknowledge");
    shop.run(2, GAS_ON);
    shop.run(3, ARC);
    shop.run(3, ARC_WITHOUT_GAS);
    assert!(shop.bench.horn.is_high() && !shop.bench.is_energised());
    shop.bench.set_coil(coil, false).unwrap();
    assert!(shop.bench.horn.is_high(), "off does nothing");
    shop.bench.set_coil(coil, true).unwrap();
    assert!(!shop.bench.horn.is_high());
    assert!(!shop.bench.is_energised(), "while the cause lasts");
    let coils = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 1, 0, 0, 0, 2]));
    assert_eq!(coils, framed(&[MODBUS_ADDRESS, 1, 1, 0]), "they read back as 0");
    shop.run(5, ARC);
    assert!(shop.bench.is_energised());
    // In the other order.
    shop.run(3, ARC_WITHOUT_GAS);
    assert_eq!(shop.run(5, ARC), 0);
    shop.bench.set_coil(coil, true).unwrap();
    assert!(shop.bench.is_energised());
}

#[test]
fn a_joint_is_marked_but_not_in_a_bench_test() {
    let mut shop = Shop::open();
    let coil = at("coils", "mark_joint");
    shop.run(2, GAS_ON);
    shop.run(20, ARC);
    shop.run(15, IDLE);
    let joint = shop.bench.input(at("state", "joint"));
    shop.bench.set_coil(coil, true).unwrap();
    shop.run(1, IDLE);
    assert_eq!(shop.bench.input(at("state", "joint")), joint + 1);
    assert_eq!(shop.bench.input(at("last_joint", "joint")), joint);
    shop.bench.ask(&Request::BenchStart(acquisition()));
    let refused = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 5, 0, 1, 0xff, 0]));
    assert_eq!(refused, framed(&[MODBUS_ADDRESS, 0x85, 6]));
}

/// With all the room for records taken a joint cannot be marked: none is lost for it.
#[test]
fn a_joint_is_not_marked_where_its_record_has_no_room() {
    let mut shop = Shop::open();
    for band in 0..16 {
        for (seconds, doing) in [(2, GAS_ON), (20, ARC), (15, IDLE)] {
            for _ in 0..seconds * 1_000_000 / PERIOD_US {
                shop.now_us += PERIOD_US;
                shop.bench.board.sample(&doing.at(shop.now_us), false);
            }
        }
        if band == 12 {
            shop.bench.modbus.to_board.borrow_mut().extend(framed(&[0, 5, 0, 1, 0xff, 0]));
        }
    }
    shop.now_us += PERIOD_US;
    shop.bench.board.sample(&ARC.at(shop.now_us), false);
    let refused = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 5, 0, 1, 0xff, 0]));
    assert!(refused.is_empty(), "glued to the one before: {refused:02x?}");
    let refused = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, 5, 0, 1, 0xff, 0]));
    assert_eq!(refused, framed(&[MODBUS_ADDRESS, 0x85, 6]));
    assert!(!shop.bench.board.faults().journal);
}

/// What the standard answers, request by request (function codes and exceptions from memory).
#[test]
fn what_cannot_be_done_is_answered_as_the_standard_says() {
    let mut shop = Shop::open();
    let unit = MODBUS_ADDRESS;
    let read = |function: u8, first: u16, count: u16| {
        [[function].as_slice(), &first.to_be_bytes(), &count.to_be_bytes()].concat()
    };
    let answers: Vec<(Vec<u8>, u8)> = vec![
        // No such function: 1.
        (vec![7], 1),
        (vec![0], 1),
        (vec![43, 14, 1, 0], 1),
        (read(6, 0, 1), 1),
        (vec![15, 0, 0, 0, 1, 1, 1], 1),
        (vec![16, 0, 0, 0, 1, 2, 0, 1], 1),
        (vec![16, 0, 0, 0, 1, 255], 1),
        (vec![23, 0, 0, 0, 1, 0, 0, 0, 1, 2, 0, 0], 1),
        (vec![127], 1),
        // Not within one part: 2.
        (read(4, 24, 1), 2),
        (read(4, 0, 25), 2),
        (read(3, 99, 1), 2),
        (read(4, 115, 2), 2),
        (read(4, 203, 125), 0),
        (read(4, 204, 125), 2),
        (read(4, 1144, 1), 2),
        (read(4, 0xffff, 1), 2),
        (read(4, 0xffff, 125), 2),
        (read(2, 26, 1), 2),
        (read(2, 0, 27), 2),
        (read(1, 2, 1), 2),
        (read(1, 0, 2000), 2),
        (read(5, 2, 0xff00), 2),
        (read(5, 0xffff, 0), 2),
        // None, too many, neither on nor off: 3.
        (read(1, 0, 0), 3),
        (read(2, 0, 0), 3),
        (read(3, 0, 0), 3),
        (read(4, 0, 0), 3),
        (read(4, 5000, 0), 3),
        (read(1, 0, 2001), 3),
        (read(2, 0, 0xffff), 3),
        (read(3, 0, 126), 3),
        (read(4, 0, 0xffff), 3),
        (read(5, 0, 1), 3),
        (read(5, 1, 0xff01), 3),
        (read(5, 9, 7), 3),
    ];
    for (pdu, exception) in answers {
        let answer = shop.bench.over_modbus(&framed(&[&[unit], pdu.as_slice()].concat()));
        if exception == 0 {
            assert_eq!((answer.len(), answer[1], answer[2]), (5 + 250, 4, 250), "{pdu:02x?}");
        } else {
            assert_eq!(answer, framed(&[unit, pdu[0] | 0x80, exception]), "{pdu:02x?}");
        }
    }
    assert_eq!(shop.bench.input(at("state", "frames_ignored")), 0);
}

/// 3 reads what 4 does.
#[test]
fn holding_registers_are_the_input_registers() {
    let mut shop = Shop::open();
    shop.run(2, GAS_ON);
    shop.run(5, ARC);
    for (first, count) in [(5, 19), (100, 16), (200, 125), (1000, 120), (2000, 30), (2100, 12)] {
        let [high, low] = u16::to_be_bytes(first);
        let [by_3, by_4] = [3, 4].map(|function| {
            let answer = shop.bench.over_modbus(&framed(&[MODBUS_ADDRESS, function, high, low, 0, count]));
            // But for the count of requests, which moves.
            answer[2..answer.len() - 2].chunks(2).map(<[u8]>::to_vec).collect::<Vec<_>>()
        });
        let differ = by_3.iter().zip(&by_4).filter(|(a, b)| a != b).count();
        assert!(by_3.len() > 5 && differ <= usize::from(first == 5), "{first}: {by_3:02x?} {by_4:02x?}");
    }
}

#[derive(Clone, Debug)]
enum Act {
    Run(Doing, u16),
    /// Any request but a press, under a right CRC.
    Ask(Vec<u8>),
    Garbage(Vec<u8>),
}

fn act() -> impl Strategy<Value = Act> {
    let doing = prop_oneof![
        3 => Just(IDLE), 2 => Just(GAS_ON), 4 => Just(ARC), 2 => Just(ARC_WITHOUT_GAS),
        1 => Just(Doing { gas_lpm: None, ..ARC }), 1 => Just(Doing { volts: 33, ..ARC }),
    ];
    let body = (any::<bool>(), any::<u8>(), prop::collection::vec(any::<u8>(), 0..12));
    let asked = (1..=4_u8, any::<bool>(), 0..2200_u16, 0..130_u16);
    prop_oneof![
        4 => (doing, 1..300_u16).prop_map(|(doing, samples)| Act::Run(doing, samples)),
        4 => body.prop_map(|(is_mine, function, rest)| {
            Act::Ask([&[if is_mine { MODBUS_ADDRESS } else { 0 }, function], rest.as_slice()].concat())
        }),
        4 => asked.prop_map(|(function, is_mine, first, count)| {
            let address = if is_mine { MODBUS_ADDRESS } else { 0 };
            Act::Ask([&[address, function], &first.to_be_bytes()[..], &count.to_be_bytes()].concat())
        }),
        2 => prop::collection::vec(any::<u8>(), 0..600).prop_map(Act::Garbage),
    ]
}

/// Is it a coil set to on?
fn is_press(body: &[u8]) -> bool {
    matches!(body, [_, 5, 0, 0 | 1, 0xff, 0])
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(100))]

    /// Beside a board that hears nothing on Modbus: outputs, procedure, black box and journal stay the same, and no
    /// answer is anything but a whole frame of this board.
    #[test]
    fn no_request_but_a_press_changes_anything(acts in prop::collection::vec(act(), 1..40)) {
        let (mut asked, mut quiet) = (Shop::open(), Shop::open());
        for act in &acts {
            match act {
                Act::Run(doing, samples) => {
                    for _ in 0..*samples {
                        asked.step(*doing);
                        quiet.step(*doing);
                        prop_assert_eq!(asked.bench.board.outputs(), quiet.bench.board.outputs());
                    }
                }
                Act::Ask(body) if is_press(body) => {}
                Act::Ask(body) => {
                    asked.bench.answered();
                    let answer = asked.bench.over_modbus(&framed(body));
                    prop_assert!(answer.is_empty() || framed(&answer[..answer.len() - 2]) == answer);
                    prop_assert!(answer.is_empty() || (answer[0] == MODBUS_ADDRESS && answer[1] & 0x7f == body[1] & 0x7f));
                    prop_assert!(answer.is_empty() || body[0] == MODBUS_ADDRESS, "told to all");
                    prop_assert!(answer.len() <= 256);
                }
                Act::Garbage(bytes) => drop(asked.bench.over_modbus(bytes)),
            }
            prop_assert_eq!(asked.bench.board.outputs(), quiet.bench.board.outputs());
            prop_assert_eq!(asked.bench.board.faults(), quiet.bench.board.faults());
            prop_assert!(asked.bench.board.procedure() == quiet.bench.board.procedure());
        }
        for shop in [&mut asked, &mut quiet] {
            shop.run(20, IDLE);
        }
        prop_assert_eq!(asked.journal(), quiet.journal());
        prop_assert_eq!(asked.bench.read_black_box(), quiet.bench.read_black_box());
    }
}
