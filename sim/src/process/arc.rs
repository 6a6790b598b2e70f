//! The electrical circuit and the wire: power source, arc, stick-out, melting.
//!
//! Decides: how current, arc length and stick-out move one another (self-regulation).
//! Assumes: a constant-voltage source with a straight slope; an arc voltage that rises straight with
//! length and current; an evenly heated stick-out.
//! Never: knows why a setting is what it is, and draws no random numbers.
//!
//! Equations, with I the current, x the stick-out, l the arc length, H the distance from tip to work:
//! `L dI/dt = U0 - Rs I - U`, `dx/dt = W - (a I + b x I^2)`, `U = Ua + E l + Ra I + r x I + Rt I`,
//! `l = H - x`. The melting law is Lesnewich's, Welding Journal 1958 (from memory).

/// How fast a wire melts: `a I + b x I^2`, in mm/s with x in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Melting {
    /// Heating by the arc, mm/(A s).
    pub arc: f64,
    /// Heating by the resistance of the stick-out, 1/(A^2 s).
    pub resistive: f64,
}

/// Coefficients of a 1.2 mm solid steel wire: literature after Lesnewich (from memory).
const MELTING_1_2: Melting = Melting { arc: 0.3, resistive: 5e-5 };

impl Melting {
    /// For a steel wire of this diameter: what the arc melts scales with one over the section, what
    /// resistance melts with one over its square.
    pub fn of_wire(diameter_mm: f64) -> Self {
        let section = (1.2 / diameter_mm) * (1.2 / diameter_mm);
        Self { arc: MELTING_1_2.arc * section, resistive: MELTING_1_2.resistive * section * section }
    }
    /// Melting speed, mm/s, for a current in A and a stick-out in mm.
    pub fn speed(self, current_a: f64, stick_out_mm: f64) -> f64 {
        current_a * (self.arc + self.resistive * stick_out_mm * current_a)
    }
    /// The same law for a wire that melts faster by `factor` (a cored wire carries the current in
    /// its sheath alone).
    #[must_use]
    pub fn scaled(self, factor: f64) -> Self {
        Self { arc: self.arc * factor, resistive: self.resistive * factor }
    }
    /// The stick-out, mm, at which the melting speed is `speed_mm_per_s`.
    fn stick_out_for(self, speed_mm_per_s: f64, current_a: f64) -> f64 {
        (speed_mm_per_s / current_a - self.arc) / (self.resistive * current_a)
    }
}

/// What the source, the cables and the arc are like. SI units but for lengths in mm.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Circuit {
    /// Voltage fall a current of the source and its cables, ohm.
    pub slope_ohm: f64,
    /// Inductance of source and cables, henry.
    pub inductance_h: f64,
    /// Arc voltage at no length and no current, V.
    pub arc_fall_v: f64,
    /// Arc voltage a length, V/mm.
    pub arc_gradient_v_per_mm: f64,
    /// Arc voltage a current, ohm.
    pub arc_resistance_ohm: f64,
    /// Resistance of the hot stick-out, ohm/mm.
    pub wire_resistance_ohm_per_mm: f64,
    /// How the wire melts.
    pub melting: Melting,
}

/// What a person, a drive or a fault sets.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    /// Source voltage at no current, V.
    pub source_v: f64,
    /// Wire feed, mm/s.
    pub feed_mm_per_s: f64,
    /// Distance from contact tip to work, mm.
    pub tip_to_work_mm: f64,
    /// Resistance between tip and wire, ohm.
    pub contact_ohm: f64,
}

/// What moves by itself.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct State {
    /// Current, A.
    pub current_a: f64,
    /// Length of wire from the contact tip to its end, mm.
    pub stick_out_mm: f64,
}

/// What is between the wire and the work.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Gap {
    /// An arc, shorter than tip and wire say by this much (a hanging drop, a heaving pool), mm.
    Arc(f64),
    /// A bridge of liquid metal of this resistance, ohm.
    Bridge(f64),
}

/// An arc does not get shorter than this before the drop touches, mm.
const SHORTEST_ARC_MM: f64 = 0.1;

impl Circuit {
    /// Voltage between the contact tip's cable and the work, V.
    pub fn voltage(&self, setting: &Setting, state: State, gap: Gap) -> f64 {
        let wire_ohm = self.wire_resistance_ohm_per_mm * state.stick_out_mm + setting.contact_ohm;
        match gap {
            Gap::Bridge(bridge_ohm) => (bridge_ohm + wire_ohm) * state.current_a,
            Gap::Arc(shorter_mm) => {
                let length_mm =
                    (setting.tip_to_work_mm - state.stick_out_mm - shorter_mm).max(SHORTEST_ARC_MM);
                self.arc_fall_v
                    + self.arc_gradient_v_per_mm * length_mm
                    + (self.arc_resistance_ohm + wire_ohm) * state.current_a
            }
        }
    }

    fn slopes(&self, setting: &Setting, state: State, gap: Gap) -> State {
        let load_v = self.voltage(setting, state, gap);
        State {
            current_a: (setting.source_v - self.slope_ohm * state.current_a - load_v) / self.inductance_h,
            stick_out_mm: setting.feed_mm_per_s - self.melting.speed(state.current_a, state.stick_out_mm),
        }
    }

    /// The state `step_s` later (classical Runge-Kutta of fourth order).
    #[must_use]
    pub fn advance(&self, setting: &Setting, state: State, gap: Gap, step_s: f64) -> State {
        let ahead = |by: State, share: f64| State {
            current_a: state.current_a + by.current_a * share,
            stick_out_mm: state.stick_out_mm + by.stick_out_mm * share,
        };
        let first = self.slopes(setting, state, gap);
        let second = self.slopes(setting, ahead(first, step_s / 2.0), gap);
        let third = self.slopes(setting, ahead(second, step_s / 2.0), gap);
        let fourth = self.slopes(setting, ahead(third, step_s), gap);
        let mean = |a: f64, b: f64, c: f64, d: f64| (a + 2.0 * b + 2.0 * c + d) / 6.0;
        let slope = State {
            current_a: mean(first.current_a, second.current_a, third.current_a, fourth.current_a),
            stick_out_mm: mean(
                first.stick_out_mm,
                second.stick_out_mm,
                third.stick_out_mm,
                fourth.stick_out_mm,
            ),
        };
        let next = ahead(slope, step_s);
        // A source does not push backwards, and a wire does not end inside its tip.
        State { current_a: next.current_a.max(0.0), stick_out_mm: next.stick_out_mm.max(0.5) }
    }

    /// The state in which nothing moves, by bisection on the current (0 to 2000 A).
    pub fn steady(&self, setting: &Setting) -> State {
        let (mut low, mut high) = (1.0, 2000.0);
        for _ in 0..80 {
            let current_a = 0.5 * (low + high);
            let stick_out_mm = self.melting.stick_out_for(setting.feed_mm_per_s, current_a);
            let state = State { current_a, stick_out_mm };
            // More current melts back to a shorter stick-out and so to a longer arc.
            let length_mm = setting.tip_to_work_mm - stick_out_mm;
            let load_v = self.arc_fall_v
                + self.arc_gradient_v_per_mm * length_mm
                + (self.arc_resistance_ohm
                    + self.wire_resistance_ohm_per_mm * stick_out_mm
                    + setting.contact_ohm)
                    * state.current_a;
            if load_v + self.slope_ohm * current_a < setting.source_v {
                low = current_a;
            } else {
                high = current_a;
            }
        }
        let current_a = 0.5 * (low + high);
        State { current_a, stick_out_mm: self.melting.stick_out_for(setting.feed_mm_per_s, current_a) }
    }

    /// `setting` with the source voltage that gives this steady arc voltage.
    #[must_use]
    pub fn with_voltage(&self, setting: Setting, voltage_v: f64) -> Setting {
        // Seen from an ideal source the slope is no part of the load.
        let ideal = Self { slope_ohm: 0.0, ..*self };
        let state = ideal.steady(&Setting { source_v: voltage_v, ..setting });
        Setting { source_v: voltage_v + self.slope_ohm * state.current_a, ..setting }
    }

    /// `setting` with the torch height that gives this steady current.
    #[must_use]
    pub fn with_current_by_height(&self, setting: Setting, current_a: f64) -> Setting {
        let stick_out_mm = self.melting.stick_out_for(setting.feed_mm_per_s, current_a);
        let length_mm = self.arc_length_for(&setting, State { current_a, stick_out_mm });
        Setting { tip_to_work_mm: (stick_out_mm + length_mm).max(1.0), ..setting }
    }

    /// `setting` with the wire feed that gives this steady current.
    #[must_use]
    pub fn with_current_by_feed(&self, setting: Setting, current_a: f64) -> Setting {
        // The arc length is straight in the stick-out, so one secant step is exact.
        let excess = |stick_out_mm: f64| {
            self.arc_length_for(&setting, State { current_a, stick_out_mm }) + stick_out_mm
                - setting.tip_to_work_mm
        };
        let (at_0, at_10) = (excess(0.0), excess(10.0));
        let stick_out_mm = -at_0 * 10.0 / (at_10 - at_0);
        Setting { feed_mm_per_s: self.melting.speed(current_a, stick_out_mm).max(0.0), ..setting }
    }

    /// `setting` with the source voltage and the wire feed that give this steady current and arc voltage.
    #[must_use]
    pub fn with_current_and_voltage(&self, setting: Setting, current_a: f64, voltage_v: f64) -> Setting {
        // At a given current the arc voltage falls straight as the stick-out grows.
        let at_no_stick_out_v = self.arc_fall_v
            + self.arc_gradient_v_per_mm * setting.tip_to_work_mm
            + (self.arc_resistance_ohm + setting.contact_ohm) * current_a;
        let fall_v_per_mm = self.arc_gradient_v_per_mm - self.wire_resistance_ohm_per_mm * current_a;
        let stick_out_mm = (at_no_stick_out_v - voltage_v) / fall_v_per_mm;
        let feed_mm_per_s = self.melting.speed(current_a, stick_out_mm).max(0.0);
        Setting { source_v: voltage_v + self.slope_ohm * current_a, feed_mm_per_s, ..setting }
    }

    /// The arc length, mm, at which the source can hold this current.
    fn arc_length_for(&self, setting: &Setting, state: State) -> f64 {
        let resistance_ohm = self.slope_ohm
            + self.arc_resistance_ohm
            + self.wire_resistance_ohm_per_mm * state.stick_out_mm
            + setting.contact_ohm;
        (setting.source_v - self.arc_fall_v - resistance_ohm * state.current_a) / self.arc_gradient_v_per_mm
    }
}
