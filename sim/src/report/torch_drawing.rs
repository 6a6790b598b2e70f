//! The torch round the joint, seen towards the chuck: as text, and as a picture for the page.
//!
//! Decides: what is drawn: the joint, which way it turns, where the torch stands and where it belongs.
//! Assumes: the side and the offset that were measured.
//! Never: judges the place; where a figure is missing nothing is drawn.

use crate::input::parts::Rotation;
use crate::setup::position::{angle_deg, rotation_word, side_coming_up, side_going_down};
use crate::setup::{Checked, Item, Measured, Wanted};
use std::fmt::Write as _;

/// Half the width and half the height of the drawing, in characters: a character is twice as high as wide.
const ACROSS: i32 = 16;
const DOWN: i32 = 7;
/// The joint within it.
const RADIUS: f64 = 6.0;
/// The torch stands this far off the joint's surface, in lines.
const TORCH_AT: f64 = 7.2;

/// What is drawn. Angles are from the top centre, clockwise above zero, degrees.
struct Scene {
    rotation: Rotation,
    torch_deg: f64,
    wanted_deg: Option<(f64, f64)>,
}

impl Scene {
    fn of(checked: &Checked) -> Option<Self> {
        let of = |item| checked.settings.iter().find(|judged| judged.item == item);
        let size = |item| match of(item)?.value? {
            Measured::Size(size) => Some(size),
            _ => None,
        };
        let rotation = checked.rotation?;
        let diameter_mm = size(Item::OutsideDiameter)?;
        let Some(Measured::Word(side)) = of(Item::TorchSide)?.value else { return None };
        let on = |side: &str, angle: f64| if side == "left" { -angle } else { angle };
        let wanted_deg = match of(Item::TORCH_OFFSET)?.wanted {
            Some(Wanted::Ranges(setting)) => setting.allowed.or(setting.recommended).and_then(|range| {
                let at = |end: f64| Some(on(side_coming_up(rotation), angle_deg(end, diameter_mm)?));
                Some((at(range.low?)?, at(range.high?)?))
            }),
            _ => None,
        };
        let torch_deg = on(side, angle_deg(size(Item::TORCH_OFFSET)?, diameter_mm)?);
        Some(Self { rotation, torch_deg, wanted_deg })
    }
    fn caption(&self) -> String {
        let turning = rotation_word(self.rotation);
        let (up, down) = (side_coming_up(self.rotation), side_going_down(self.rotation));
        format!(
            "seen towards the chuck: the joint turns {turning}, its {up} side comes up, its {down} side goes down"
        )
    }
}

/// The drawing as text; `None` where something it needs was not measured.
pub fn text(checked: &Checked) -> Option<String> {
    let scene = Scene::of(checked)?;
    let mut grid = vec![vec![' '; 2 * ACROSS as usize + 1]; 2 * DOWN as usize + 2];
    let mut put = |angle_deg: f64, radius: f64, mark: char| {
        let (sine, cosine) = angle_deg.to_radians().sin_cos();
        let column = (f64::from(ACROSS) + 2.0 * radius * sine).round() as usize;
        let row = (f64::from(DOWN) - radius * cosine).round() as usize;
        if let Some(cell) = grid.get_mut(row + 1).and_then(|line| line.get_mut(column)) {
            *cell = mark;
        }
    };
    for step in 0..120 {
        put(f64::from(step) * 3.0, RADIUS, '.');
    }
    if let Some((near, far)) = scene.wanted_deg {
        for step in 0..=40 {
            put(near + (far - near) * f64::from(step) / 40.0, RADIUS, '=');
        }
    }
    put(0.0, RADIUS, '+');
    put(scene.torch_deg, TORCH_AT, 'T');
    // Up on the side that comes up, down on the other.
    let (left, right) = match scene.rotation {
        Rotation::Clockwise => ('^', 'v'),
        Rotation::CounterClockwise => ('v', '^'),
    };
    put(-90.0, RADIUS + 1.5, left);
    put(90.0, RADIUS + 1.5, right);
    let mut drawn = String::new();
    for line in grid {
        let line: String = line.into_iter().collect();
        if !line.trim().is_empty() {
            let _ = writeln!(drawn, "      {}", line.trim_end());
        }
    }
    let _ = writeln!(drawn, "  {}", scene.caption());
    let _ = writeln!(drawn, "  T torch   = where it belongs   + top centre   ^ comes up   v goes down");
    Some(drawn)
}

/// The drawing as a picture; `None` where something it needs was not measured.
pub fn svg(checked: &Checked) -> Option<String> {
    let scene = Scene::of(checked)?;
    let at = |angle_deg: f64, radius: f64| {
        let (sine, cosine) = angle_deg.to_radians().sin_cos();
        format!("{:.1} {:.1}", 100.0 + radius * sine, 100.0 - radius * cosine)
    };
    let mut drawn = format!(
        "<svg viewBox=\"0 0 200 200\" width=\"220\" role=\"img\" aria-label=\"{}\" fill=\"none\" stroke=\"currentColor\">",
        scene.caption()
    );
    let _ = write!(drawn, "<circle cx=\"100\" cy=\"100\" r=\"60\"/><path d=\"M100 32v16\"/>");
    if let Some((near, far)) = scene.wanted_deg {
        let sweep = i32::from(far > near);
        let _ = write!(
            drawn,
            "<path stroke-width=\"6\" opacity=\".4\" d=\"M{}A60 60 0 0 {sweep} {}\"/>",
            at(near, 60.0),
            at(far, 60.0)
        );
    }
    let torch = scene.torch_deg;
    let _ = write!(drawn, "<path stroke-width=\"5\" d=\"M{}L{}\"/>", at(torch, 66.0), at(torch, 94.0));
    // An arrow inside the joint over its lower half, the way that it turns.
    let (from, to, sweep) = match scene.rotation {
        Rotation::Clockwise => (-110.0, 110.0, 0),
        Rotation::CounterClockwise => (110.0, -110.0, 1),
    };
    // Drawn from its head backwards, so that the head is at the end of the side that comes up.
    let _ = write!(drawn, "<path d=\"M{}A45 45 0 0 {sweep} {}\"/>", at(from, 45.0), at(to, 45.0));
    let (tip, wings) = (from, [38.0, 52.0].map(|radius| at(from * 1.14, radius)));
    let _ = write!(drawn, "<path d=\"M{}L{}L{}\"/></svg>", wings[0], at(tip, 45.0), wings[1]);
    Some(drawn)
}
