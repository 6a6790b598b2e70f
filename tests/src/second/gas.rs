//! The gas line: valve, regulator that surges, hose, and a meter that lags.
//!
//! Decides: the flow at the nozzle and at the meter.
//! Assumes: the shut hose has filled to bottle pressure, and takes some 8 s to come down.

use super::noise::lagged;

/// The line as a shop has it.
#[derive(Clone, Copy, Debug)]
pub struct GasLine {
    /// Flow that was set, L/min.
    pub set_lpm: f64,
    /// How far the flow stands over the set one as the valve opens, share of it.
    pub surge: f64,
    /// How the surge dies down, s.
    pub surge_tau_s: f64,
    open_for_s: f64,
    flow_lpm: f64,
    meter_lpm: f64,
    meter_tau_s: f64,
}

impl GasLine {
    /// Shut.
    pub fn new(set_lpm: f64, surge: f64, surge_tau_s: f64, meter_tau_s: f64) -> Self {
        Self { set_lpm, surge, surge_tau_s, open_for_s: 0.0, flow_lpm: 0.0, meter_lpm: 0.0, meter_tau_s }
    }
    /// Carries on by `dt_s`; `passing` is the share of the flow that is left by a fault.
    pub fn step(&mut self, dt_s: f64, open: bool, passing: f64) {
        self.open_for_s = if open { self.open_for_s + dt_s } else { 0.0 };
        let surge = 1.0 + self.surge * (-self.open_for_s / self.surge_tau_s).exp();
        let asked = if open { self.set_lpm * surge * passing } else { 0.0 };
        // The valve moves in some 30 ms; the hose behind it bleeds down in some 0.15 s.
        self.flow_lpm = lagged(self.flow_lpm, asked, dt_s, if open { 0.03 } else { 0.15 });
        self.meter_lpm = lagged(self.meter_lpm, self.flow_lpm, dt_s, self.meter_tau_s);
    }
    /// At the nozzle, L/min.
    pub fn nozzle_lpm(&self) -> f64 {
        self.flow_lpm
    }
    /// At the meter, L/min.
    pub fn metered_lpm(&self) -> f64 {
        self.meter_lpm
    }
}
