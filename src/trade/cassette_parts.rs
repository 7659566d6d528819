//! Turning parts of cassette decks and their usual sizes: which rates they can have.
//!
//! All ranges: from memory, no source; a service manual's own figure always wins. Sizes are of decks at 47.625 mm/s.

/// A range of diameters, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualDiameter {
    /// What it is called.
    pub name: &'static str,
    /// Smallest usual diameter, mm.
    pub least_mm: f64,
    /// Largest usual diameter, mm.
    pub most_mm: f64,
}

/// Capstan; the flywheel sits on its shaft and turns with it.
pub const CAPSTAN: UsualDiameter =
    UsualDiameter { name: "capstan with flywheel", least_mm: 1.9, most_mm: 3.5 };
/// Pinch roller.
pub const PINCH_ROLLER: UsualDiameter = UsualDiameter { name: "pinch roller", least_mm: 7.5, most_mm: 14.0 };
/// Pack of tape on its hub, from the bare hub to the fullest pack.
pub const PACK: UsualDiameter = UsualDiameter { name: "reel", least_mm: 21.5, most_mm: 52.0 };
/// Name of the reel that gives tape: its pack shrinks, so that it turns faster and faster.
pub const SUPPLY_REEL: &str = "supply reel";
/// Name of the reel that takes tape: its pack grows, so that it turns slower and slower.
pub const TAKE_UP_REEL: &str = "take-up reel";

/// A range of rates that follows from no single size, Hz.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct UsualRate {
    /// What it is called.
    pub name: &'static str,
    /// Lowest usual rate, Hz.
    pub least_hz: f64,
    /// Highest usual rate, Hz.
    pub most_hz: f64,
}

/// Idler wheel.
pub const IDLER: UsualRate = UsualRate { name: "idler", least_hz: 0.3, most_hz: 2.5 };
/// Capstan belt, turns of its length.
pub const BELT: UsualRate = UsualRate { name: "belt", least_hz: 2.2, most_hz: 9.0 };
/// Motor behind a belt, 1200 to 3600 turns a minute.
pub const MOTOR: UsualRate = UsualRate { name: "motor with pulley", least_hz: 20.0, most_hz: 60.0 };

/// Thinnest and thickest tape of cassettes, um (9 um is that of the longest ones, 18 um of the shortest).
pub const TAPE_UM: (f64, f64) = (8.0, 19.0);

/// Change of the rate of a hub that turns `hz` times a second, Hz a second, as a magnitude: the pack of tape of
/// `tape_um` grows or shrinks by that in radius each turn. f = v / (2 pi r) and dr/dt = f h give 2 pi h f^3 / v.
pub fn hub_change_hz_per_s(hz: f64, tape_um: f64, speed_mm_s: f64) -> f64 {
    std::f64::consts::TAU * tape_um * 1e-3 * hz.powi(3) / speed_mm_s
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hub_changes_as_its_pack_does() {
        // Wound up turn by turn: 40 s of tape of 16 um from a radius of 15 mm. v = 47.625 mm/s.
        let (v, h, from_mm): (f64, f64, f64) = (47.625, 0.016, 15.0);
        let rate = |radius_mm: f64| v / (std::f64::consts::TAU * radius_mm);
        // Area of the pack grows by the tape's length times its thickness.
        let to_mm = (from_mm * from_mm + v * 40.0 * h / std::f64::consts::PI).sqrt();
        let want = (rate(from_mm) - rate(to_mm)) / 40.0;
        let middle = rate(0.5 * (from_mm + to_mm));
        // The formula is the slope in the middle; over 40 s the curve bends it by less than a thousandth.
        assert_within!(hub_change_hz_per_s(middle, 16.0, v) / want, 1.0, 1e-3, "");
    }
}
