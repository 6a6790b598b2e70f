//! All checks as one program: linked once, and run side by side.
//!
//! Decides: which files are part of it. Those that measure the memory of their own process are programs
//! of their own, in `Cargo.toml`.

mod alarm_timeline;
mod attacked_joints;
mod board;
mod board_any_order;
mod board_flash;
mod board_image;
mod board_inputs;
mod board_kept;
mod board_link;
mod board_logic;
mod board_modbus;
mod board_modbus_client;
mod board_modbus_line;
mod board_modbus_map;
mod board_never;
mod board_restart;
mod board_wiring;
mod bounded;
mod broken_files;
mod changed_over;
mod coarse_speed;
mod cooling;
mod dead_meters;
mod desk_commands;
mod every_limit;
mod everyday;
mod evidence_trend;
mod evidence_trial;
mod fault_table;
mod findings;
mod formulas;
mod hard_ends;
mod heat;
mod heat_formulas;
mod heat_joint;
mod identity;
mod inspection;
mod key_reference;
mod layout_brackets;
mod layout_choice;
mod layout_holes;
mod layout_plausible;
mod layout_proposal;
mod layouts;
mod likely_causes;
mod link_page;
mod many_logs;
mod many_machines;
mod modbus_page;
mod monitor_edges;
mod monitor_properties;
mod next_band;
mod no_way_to_hide;
mod nothing_lost;
mod one_way;
mod places;
mod plain_samples;
mod plan;
mod plan_joint;
mod power_cut;
mod process_arc;
mod process_habits;
mod process_joint;
mod process_slow_faults;
mod public_interface;
mod publish;
mod quantities;
mod read_once;
mod readme;
mod record_live;
mod reference_libraries;
mod register;
mod register_cut;
mod register_export;
mod register_more;
mod register_standing;
mod repair;
mod report_page;
mod row_times;
mod safe_terminal;
mod second_generator;
mod serve;
mod serve_page;
mod serve_reach;
mod setup;
mod setup_advice;
mod setup_carried;
mod setup_dialogue;
mod setup_preheat;
mod setup_proof;
mod setup_reach;
mod shift_of_twenty;
mod shop;
mod shop_logger;
mod short_gap_tolerance;
mod signal_claims;
mod slow_rows;
mod spindle_claims;
mod strd;
mod strike_and_end;
mod sums_properties;
mod synth;
mod traces;
mod traces_any_bytes;
mod traces_parquet;
mod transfer_claims;
mod trend;
mod trend_doubt;
mod trend_known;
mod trend_mended;
mod trial_command;
mod trial_fleet;
mod trial_library;
mod trial_marks;
mod trial_proposal;
mod trial_suggest;
mod trial_sweep;
mod unseen;
mod verdict_table;
mod watch;
mod watch_board;
mod watch_left;
mod weave_claims;
mod weave_width;
mod welder_table;
mod wire;

/// A file that nobody names would never run.
#[test]
fn every_file_is_part_of_it_or_a_program_of_its_own() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/tests");
    let named = [include_str!("all.rs"), include_str!("../Cargo.toml")];
    for entry in std::fs::read_dir(folder).expect("the folder of this file") {
        let path = entry.expect("an entry").path();
        if path.extension().is_none_or(|extension| extension != "rs") || path.ends_with("all.rs") {
            continue;
        }
        let name = path.file_stem().and_then(|stem| stem.to_str()).expect("a plain name");
        let forms = [format!("mod {name};\n"), format!("name = \"{name}\"\n")];
        assert!(forms.iter().any(|form| named.iter().any(|text| text.contains(form))), "{name} never runs");
    }
}
