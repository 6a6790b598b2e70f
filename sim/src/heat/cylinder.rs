//! Conduction in a hollow cylinder, along it and through its wall.
//!
//! Decides: how cells exchange heat in a step of time: finite volumes, the wall and the length one after the
//! other and both implicitly (alternating directions after Douglas, from memory), so that any step is stable, a
//! steady state is kept, and heat is neither made nor lost but at the outside.
//! Assumes: the same temperature all the way round; one conductivity and heat capacity; the bore and the two
//! ends lose nothing.
//! Never: holds the shape of a weld pool.

use super::steel::{CAPACITY_J_PER_MM3_K, CONDUCTIVITY_W_PER_MM_K};
use std::f64::consts::PI;

/// A ring of the outside that is heated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ring {
    /// From this place along the cylinder, mm.
    pub from_mm: f64,
    /// To this one.
    pub to_mm: f64,
    /// Heat that it takes up, W.
    pub power_w: f64,
}

/// A hollow cylinder with a temperature everywhere.
#[derive(Clone, Debug)]
pub struct Cylinder {
    outer_mm: f64,
    /// Edges of the cells along the cylinder, mm.
    edges_mm: Vec<f64>,
    /// Cells through the wall.
    layers: usize,
    /// Section of each layer, mm², from the bore outwards.
    sections_mm2: Vec<f64>,
    /// What a millimetre of length conducts from each layer to the next outer one, W/(mm K).
    outwards_w_per_mm_k: Vec<f64>,
    /// From the middle of the outer layer to the surface, for a millimetre of length, W/(mm K).
    to_surface_w_per_mm_k: f64,
    /// °C, layer by layer within each cell of length.
    temperatures_c: Vec<f64>,
    /// What each cell gains from its neighbours along the cylinder at the beginning of a step, W.
    along_w: Vec<f64>,
    /// Taken up less lost since the start, J.
    gained_j: f64,
    line: Line,
}

/// Edges of cells that are `fine_mm` long between two places and grow by a fifth each beyond, to a reach on
/// both sides.
pub fn graded_edges(from_mm: f64, to_mm: f64, fine_mm: f64, reach_mm: f64) -> Vec<f64> {
    let count = ((to_mm - from_mm) / fine_mm).ceil().max(1.0);
    let fine_mm = (to_mm - from_mm) / count;
    let mut outside = Vec::new();
    let (mut way_mm, mut length_mm) = (0.0, fine_mm);
    while way_mm < reach_mm {
        length_mm *= 1.2;
        way_mm += length_mm;
        outside.push(way_mm);
    }
    let before = outside.iter().rev().map(|way| from_mm - way);
    let within = (0..=count as u32).map(|index| from_mm + f64::from(index) * fine_mm);
    before.chain(within).chain(outside.iter().map(|way| to_mm + way)).collect()
}

impl Cylinder {
    /// A cylinder of one temperature. `edges_mm` rise along it; it has `layers` cells through its wall.
    pub fn new(outer_mm: f64, bore_mm: f64, edges_mm: Vec<f64>, layers: usize, start_c: f64) -> Self {
        let (bore, outer) = (0.5 * bore_mm, 0.5 * outer_mm);
        let edge = |index: usize| bore + (outer - bore) * index as f64 / layers as f64;
        let middle = |index: usize| f64::midpoint(edge(index), edge(index + 1));
        // Through the wall heat crosses 2 pi r of a millimetre of length: resistance is ln(r2/r1) / (2 pi k).
        let conducts = |inner: f64, outer: f64| 2.0 * PI * CONDUCTIVITY_W_PER_MM_K / libm::log(outer / inner);
        let sections = (0..layers).map(|index| PI * (edge(index + 1).powi(2) - edge(index).powi(2)));
        let outwards = (1..layers).map(|index| conducts(middle(index - 1), middle(index)));
        let cells = edges_mm.len().saturating_sub(1) * layers;
        Self {
            outer_mm,
            layers,
            sections_mm2: sections.collect(),
            outwards_w_per_mm_k: outwards.collect(),
            to_surface_w_per_mm_k: conducts(middle(layers - 1), outer),
            temperatures_c: vec![start_c; cells],
            along_w: vec![0.0; cells],
            gained_j: 0.0,
            line: Line::default(),
            edges_mm,
        }
    }
    /// Puts everything between two places at a temperature, °C.
    pub fn hold(&mut self, from_mm: f64, to_mm: f64, temperature_c: f64) {
        for cell in 0..self.cells() {
            if (from_mm..to_mm).contains(&self.middle_mm(cell)) {
                self.temperatures_c[cell * self.layers..][..self.layers].fill(temperature_c);
            }
        }
    }
    /// Lets a time pass. The outside loses `loss(surface in °C)` W/(mm² K) to `ambient_c`.
    pub fn advance(&mut self, step_s: f64, ring: Option<Ring>, ambient_c: f64, loss: impl Fn(f64) -> f64) {
        self.gather_along();
        for cell in 0..self.cells() {
            let power_w = ring.map_or(0.0, |ring| ring.power_w * self.share_of(cell, ring));
            self.through_the_wall(cell, step_s, power_w, ambient_c, &loss);
        }
        for layer in 0..self.layers {
            self.along(layer, step_s);
        }
    }
    /// Temperature at the outside, °C, on a straight line between the middles of two cells.
    pub fn surface_c(&self, at_mm: f64, ambient_c: f64, loss: impl Fn(f64) -> f64) -> f64 {
        let of = |cell: usize| {
            let outer_c = self.temperatures_c[(cell + 1) * self.layers - 1];
            let lost = self.loss_of_a_millimetre(loss(outer_c));
            outer_c - lost * (outer_c - ambient_c) / self.to_surface_w_per_mm_k
        };
        let cell = self.cell_at(at_mm);
        let next = if at_mm < self.middle_mm(cell) { cell.saturating_sub(1) } else { cell + 1 };
        if next == cell || next >= self.cells() {
            return of(cell);
        }
        let (here_mm, there_mm) = (self.middle_mm(cell), self.middle_mm(next));
        of(cell) + (at_mm - here_mm) / (there_mm - here_mm) * (of(next) - of(cell))
    }
    /// The hottest and the coldest outer layer between two places, °C.
    pub fn outside_between_c(&self, from_mm: f64, to_mm: f64) -> (f64, f64) {
        let outer = (self.cell_at(from_mm)..=self.cell_at(to_mm))
            .map(|cell| self.temperatures_c[(cell + 1) * self.layers - 1]);
        outer.fold((f64::NEG_INFINITY, f64::INFINITY), |(hot, cold), one| (one.max(hot), one.min(cold)))
    }
    /// The hottest place of the bore, °C: the mean all the way round.
    pub fn hottest_bore_c(&self) -> f64 {
        self.temperatures_c.iter().step_by(self.layers).copied().fold(f64::NEG_INFINITY, f64::max)
    }
    /// From the bore outwards, the temperature of each layer in the cell at a place, °C.
    pub fn wall_c(&self, at_mm: f64) -> &[f64] {
        let cell = self.cell_at(at_mm);
        &self.temperatures_c[cell * self.layers..][..self.layers]
    }
    /// Heat above 0 °C that it holds, J.
    pub fn held_j(&self) -> f64 {
        let of = |cell: usize| -> f64 {
            let layers = &self.temperatures_c[cell * self.layers..][..self.layers];
            let heat = layers.iter().zip(&self.sections_mm2).map(|(one_c, section)| one_c * section);
            heat.sum::<f64>() * self.length_mm(cell) * CAPACITY_J_PER_MM3_K
        };
        (0..self.cells()).map(of).sum()
    }
    /// Heat taken up from rings less what the outside has lost since the start, J.
    pub fn gained_j(&self) -> f64 {
        self.gained_j
    }

    fn cells(&self) -> usize {
        self.edges_mm.len().saturating_sub(1)
    }
    fn length_mm(&self, cell: usize) -> f64 {
        self.edges_mm[cell + 1] - self.edges_mm[cell]
    }
    fn middle_mm(&self, cell: usize) -> f64 {
        f64::midpoint(self.edges_mm[cell], self.edges_mm[cell + 1])
    }
    /// The cell that holds a place; the first or the last for one beyond.
    fn cell_at(&self, at_mm: f64) -> usize {
        let after = self.edges_mm.partition_point(|&edge| edge <= at_mm);
        after.saturating_sub(1).min(self.cells().saturating_sub(1))
    }
    /// How much of a ring lies on a cell.
    fn share_of(&self, cell: usize, ring: Ring) -> f64 {
        let from = self.edges_mm[cell].max(ring.from_mm);
        let to = self.edges_mm[cell + 1].min(ring.to_mm);
        (to - from).max(0.0) / (ring.to_mm - ring.from_mm)
    }
    /// What a millimetre of length loses from the middle of its outer layer, W/(mm K): steel and surface in
    /// series.
    fn loss_of_a_millimetre(&self, loss_w_per_mm2_k: f64) -> f64 {
        let surface = PI * self.outer_mm * loss_w_per_mm2_k;
        surface * self.to_surface_w_per_mm_k / (surface + self.to_surface_w_per_mm_k)
    }
    /// Conducts from the middle of a cell to that of the next, for a section of 1 mm², W/(mm² K).
    fn onwards_w_per_mm2_k(&self, cell: usize) -> f64 {
        CONDUCTIVITY_W_PER_MM_K / (self.middle_mm(cell + 1) - self.middle_mm(cell))
    }
    fn gather_along(&mut self) {
        self.along_w.fill(0.0);
        for cell in 1..self.cells() {
            let conducts = self.onwards_w_per_mm2_k(cell - 1);
            for layer in 0..self.layers {
                let (before, here) = ((cell - 1) * self.layers + layer, cell * self.layers + layer);
                let difference = self.temperatures_c[before] - self.temperatures_c[here];
                let flow_w = conducts * self.sections_mm2[layer] * difference;
                self.along_w[before] -= flow_w;
                self.along_w[here] += flow_w;
            }
        }
    }
    fn through_the_wall(
        &mut self,
        cell: usize,
        step_s: f64,
        power_w: f64,
        ambient_c: f64,
        loss: &impl Fn(f64) -> f64,
    ) {
        let (length_mm, layers) = (self.length_mm(cell), self.layers);
        let outer_c = self.temperatures_c[(cell + 1) * layers - 1];
        let lost_w_per_k = length_mm * self.loss_of_a_millimetre(loss(outer_c));
        self.line.begin();
        for layer in 0..layers {
            let holds = CAPACITY_J_PER_MM3_K * self.sections_mm2[layer] * length_mm / step_s;
            let outwards = self.outwards_w_per_mm_k.get(layer).map(|conducts| conducts * length_mm);
            let index = cell * layers + layer;
            self.line.push(holds, self.temperatures_c[index], self.along_w[index], outwards);
        }
        self.line.lose_at_the_end(lost_w_per_k, ambient_c, power_w);
        let temperatures = &mut self.temperatures_c[cell * layers..][..layers];
        self.line.solve(|layer, one_c| temperatures[layer] = one_c);
        let outer_c = temperatures[layers - 1];
        self.gained_j += step_s * (power_w - lost_w_per_k * (outer_c - ambient_c));
    }
    fn along(&mut self, layer: usize, step_s: f64) {
        let (section, layers) = (self.sections_mm2[layer], self.layers);
        self.line.begin();
        for cell in 0..self.cells() {
            let holds = CAPACITY_J_PER_MM3_K * section * self.length_mm(cell) / step_s;
            let onwards = (cell + 1 < self.cells()).then(|| section * self.onwards_w_per_mm2_k(cell));
            let index = cell * layers + layer;
            // What the first half counted at the old temperatures is taken back.
            self.line.push(holds, self.temperatures_c[index], -self.along_w[index], onwards);
        }
        let temperatures = &mut self.temperatures_c;
        self.line.solve(|cell, one_c| temperatures[cell * layers + layer] = one_c);
    }
}

/// Cells in a row that exchange heat with their neighbours: one tridiagonal system.
#[derive(Clone, Debug, Default)]
struct Line {
    diagonal: Vec<f64>,
    right_side: Vec<f64>,
    onwards: Vec<f64>,
}

impl Line {
    fn begin(&mut self) {
        self.diagonal.clear();
        self.right_side.clear();
        self.onwards.clear();
    }
    /// A cell that takes `holds` W for a kelvin of change in the step, what it gains besides, W, and what conducts
    /// to the next one, if there is one.
    fn push(&mut self, holds: f64, temperature_c: f64, gains_w: f64, onwards: Option<f64>) {
        let before = self.onwards.last().copied().unwrap_or(0.0);
        self.diagonal.push(holds + before + onwards.unwrap_or(0.0));
        self.right_side.push(holds * temperature_c + gains_w);
        self.onwards.push(onwards.unwrap_or(0.0));
    }
    fn lose_at_the_end(&mut self, lost_w_per_k: f64, ambient_c: f64, power_w: f64) {
        if let (Some(diagonal), Some(right)) = (self.diagonal.last_mut(), self.right_side.last_mut()) {
            *diagonal += lost_w_per_k;
            *right += lost_w_per_k * ambient_c + power_w;
        }
    }
    /// Elimination forwards and back, after Thomas.
    fn solve(&mut self, mut tell: impl FnMut(usize, f64)) {
        for index in 1..self.diagonal.len() {
            let share = self.onwards[index - 1] / self.diagonal[index - 1];
            self.diagonal[index] -= share * self.onwards[index - 1];
            self.right_side[index] += share * self.right_side[index - 1];
        }
        let mut next_c = 0.0;
        for index in (0..self.diagonal.len()).rev() {
            next_c = (self.right_side[index] + self.onwards[index] * next_c) / self.diagonal[index];
            tell(index, next_c);
        }
    }
}
