//! Which part of the transport a flutter line comes from, by its rate and by how the rate moves.
//!
//! With the technician's numbers a match is tight, harmonics up to the fifth included. Without, usual ranges say what it
//! could be; a harmonic is then named only where the line of its first is there as well. Reels are known by moving: the
//! one that gives tape turns faster and faster, the one that takes it slower and slower, and by just as much as tape is
//! thick.

use crate::measure::flutter::transport_numbers::TransportNumbers;
use crate::reading::{Facts, Flutter, FlutterLine, RecordedOn};
use crate::trade::Medium;
use crate::trade::cassette_parts::{
    BELT, CAPSTAN, IDLER, MOTOR, PACK, PINCH_ROLLER, SUPPLY_REEL, TAKE_UP_REEL, TAPE_UM, UsualDiameter,
    hub_change_hz_per_s,
};

/// Highest harmonic that is looked for.
const MOST_HARMONIC: u32 = 5;
/// How far a rate may be off a number given: diameters as printed and worn, slip of belts (from memory), as a share.
const NUMBER_SHARE: f64 = 0.005;
/// The same where the deck's own speed is not known, as a share.
const SPEED_SHARE: f64 = 0.03;
/// How far a line may be off a harmonic of another line, as a share.
const HARMONIC_SHARE: f64 = 0.004;
/// Both reels together, where their movement cannot tell them apart.
const EITHER_REEL: &str = "supply or take-up reel";

/// The part of a line by itself.
struct Itself {
    part: LinePart,
    /// It may be a reel, whose harmonics move with it: then it is no harmonic of another part's line.
    reel: bool,
}

/// The part of one line.
#[derive(Debug, Clone, PartialEq)]
pub struct LinePart {
    /// Name of the part, or several joined by `or`.
    pub name: String,
    /// Which harmonic of its rate the line is; 1 is the rate itself.
    pub harmonic: u32,
    /// True if only usual ranges speak for it.
    pub could_be: bool,
}

/// Parts of the reading's flutter lines, in their order; `None` where none is known. `numbers` are the technician's.
pub fn line_parts(
    reading: &Facts,
    medium: &Medium,
    numbers: Option<&TransportNumbers>,
) -> Vec<Option<LinePart>> {
    let Some(flutter) = &reading.flutter else { return vec![] };
    // Playback of a tape whose speed is known tells how fast the parts turn.
    let known = matches!(reading.circumstances.recorded_on, Some(RecordedOn::Calibrated | RecordedOn::House));
    let speed = reading.speed.as_ref().filter(|_| known);
    parts_of(flutter, speed.map(|speed| (speed.error_percent, speed.uncertainty_percent)), medium, numbers)
}

/// The same of `flutter` alone; `speed` is the deck's error and its uncertainty, percent, where they are known.
pub fn parts_of(
    flutter: &Flutter,
    speed: Option<(f64, f64)>,
    medium: &Medium,
    numbers: Option<&TransportNumbers>,
) -> Vec<Option<LinePart>> {
    let (ratio, speed_share) = match speed {
        Some((error, uncertainty)) => (1.0 + error / 100.0, 0.001 + uncertainty / 100.0),
        None => (1.0, SPEED_SHARE),
    };
    let length_s = (flutter.over_s()).max(1.0);
    let matcher = Matcher {
        medium: Medium { speed_mm_s: medium.speed_mm_s * ratio, ..*medium },
        numbers,
        speed_share,
        resolution_hz: 0.5 / length_s,
    };
    let first: Vec<Option<Itself>> = flutter.lines.iter().map(|line| matcher.by_itself(line)).collect();
    flutter
        .lines
        .iter()
        .zip(&first)
        .map(|(line, itself)| match itself {
            Some(Itself { part, reel }) if !part.could_be || *reel => Some(part.clone()),
            None if matches!(moves(line), Moves::Faster | Moves::Slower) => None,
            itself => matcher
                .as_harmonic(line, &flutter.lines, &first)
                .or_else(|| itself.as_ref().map(|itself| itself.part.clone())),
        })
        .collect()
}

struct Matcher<'a> {
    /// With the speed that the tape really had, as far as it is known.
    medium: Medium,
    numbers: Option<&'a TransportNumbers>,
    speed_share: f64,
    resolution_hz: f64,
}

/// How a line moves, as far as it was measured.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Moves {
    NotKnown,
    /// No more than its uncertainty.
    Hardly,
    Faster,
    Slower,
}

fn moves(line: &FlutterLine) -> Moves {
    match (line.drift_hz_per_min, line.drift_uncertainty_hz_per_min) {
        (Some(drift), Some(uncertainty)) if drift > uncertainty => Moves::Faster,
        (Some(drift), Some(uncertainty)) if drift < -uncertainty => Moves::Slower,
        (Some(_), Some(_)) => Moves::Hardly,
        _ => Moves::NotKnown,
    }
}

impl Matcher<'_> {
    fn by_itself(&self, line: &FlutterLine) -> Option<Itself> {
        if let Some(part) = self.reel(line) {
            return Some(Itself { part, reel: true });
        }
        // A line that moves is no capstan and no roller.
        if matches!(moves(line), Moves::Faster | Moves::Slower) {
            return None;
        }
        let numbered = self.by_number(line).map(|part| Itself { part, reel: false });
        numbered.or_else(|| self.by_usual_range(line))
    }

    /// A reel whose rate moves as tape of a usual thickness makes it move, itself or one of its harmonics.
    fn reel(&self, line: &FlutterLine) -> Option<LinePart> {
        let name = match moves(line) {
            Moves::Faster => SUPPLY_REEL,
            Moves::Slower => TAKE_UP_REEL,
            Moves::Hardly | Moves::NotKnown => return None,
        };
        let (drift, uncertainty) =
            (line.drift_hz_per_min?.abs() / 60.0, line.drift_uncertainty_hz_per_min? / 60.0);
        let (thin_um, thick_um) = match self.numbers.and_then(|numbers| numbers.tape_um) {
            Some(um) => (0.85 * um, 1.15 * um),
            None => TAPE_UM,
        };
        let fits = |harmonic: &u32| {
            let order = f64::from(*harmonic);
            let hub_hz = line.hz / order;
            let change = |um: f64| order * hub_change_hz_per_s(hub_hz, um, self.medium.speed_mm_s);
            self.is_reel_rate(hub_hz)
                && drift + uncertainty >= change(thin_um)
                && drift - uncertainty <= change(thick_um)
        };
        // A harmonic moves by its order more; which one fits, the thickness of tape decides.
        let harmonic = (1..=MOST_HARMONIC).find(fits)?;
        Some(LinePart { name: name.to_owned(), harmonic, could_be: false })
    }

    fn is_reel_rate(&self, hz: f64) -> bool {
        let hub_mm = self.numbers.and_then(|numbers| numbers.hub_mm).unwrap_or(PACK.least_mm);
        let least = self.medium.rotation_hz(PACK.most_mm) * (1.0 - self.speed_share);
        hz >= least && hz <= self.medium.rotation_hz(hub_mm) * (1.0 + self.speed_share)
    }

    /// Whether a steady line is too steady for a reel.
    fn too_steady_for_a_reel(&self, line: &FlutterLine) -> bool {
        let (Some(drift), Some(uncertainty)) = (line.drift_hz_per_min, line.drift_uncertainty_hz_per_min)
        else {
            return false;
        };
        drift.abs() + uncertainty < 60.0 * hub_change_hz_per_s(line.hz, TAPE_UM.0, self.medium.speed_mm_s)
    }

    fn by_number(&self, line: &FlutterLine) -> Option<LinePart> {
        let rates = self.numbers?.rates(&self.medium);
        for harmonic in 1..=MOST_HARMONIC {
            let order = f64::from(harmonic);
            let near = |hz: f64| {
                let tolerance = order * hz * (NUMBER_SHARE + self.speed_share) + self.resolution_hz;
                (line.hz - order * hz).abs() <= tolerance
            };
            let names: Vec<&str> =
                rates.iter().filter(|(_, hz)| near(*hz)).map(|(name, _)| name.as_str()).collect();
            if !names.is_empty() {
                return Some(LinePart { name: names.join(" or "), harmonic, could_be: false });
            }
        }
        None
    }

    fn by_usual_range(&self, line: &FlutterLine) -> Option<Itself> {
        // What has a number is somewhere else, or it would have been found by that.
        let known: Vec<String> = self
            .numbers
            .map(|numbers| numbers.rates(&self.medium).into_iter().map(|(name, _)| name).collect())
            .unwrap_or_default();
        let free = |name: &str| known.iter().all(|known| known != name);
        let diameter = |part: UsualDiameter| {
            (part.name, self.medium.rotation_hz(part.most_mm), self.medium.rotation_hz(part.least_mm))
        };
        let rate = [IDLER, BELT, MOTOR].map(|part| (part.name, part.least_hz, part.most_hz));
        let [idler, belt, motor] = rate;
        let inside = |(_, least, most): &(&str, f64, f64)| {
            line.hz >= least * (1.0 - self.speed_share) && line.hz <= most * (1.0 + self.speed_share)
        };
        let mut names: Vec<&str> = [diameter(CAPSTAN), diameter(PINCH_ROLLER), idler, belt, motor]
            .iter()
            .filter(|part| free(part.0) && inside(part))
            .map(|part| part.0)
            .collect();
        let reel = self.is_reel_rate(line.hz) && !self.too_steady_for_a_reel(line);
        if reel {
            names.insert(0, EITHER_REEL);
        }
        (!names.is_empty()).then(|| Itself {
            part: LinePart { name: names.join(" or "), harmonic: 1, could_be: true },
            reel,
        })
    }

    /// The line as harmonic of a stronger one that is a part's own rate.
    fn as_harmonic(
        &self,
        line: &FlutterLine,
        lines: &[FlutterLine],
        parts: &[Option<Itself>],
    ) -> Option<LinePart> {
        for harmonic in 2..=MOST_HARMONIC {
            let order = f64::from(harmonic);
            let first = lines.iter().zip(parts).find_map(|(other, part)| {
                let tolerance = line.hz * HARMONIC_SHARE + order * self.resolution_hz;
                let near = (line.hz - order * other.hz).abs() <= tolerance;
                let part = part.as_ref().map(|itself| &itself.part).filter(|part| part.harmonic == 1)?;
                (near && other.percent_peak > line.percent_peak).then_some(part)
            });
            if let Some(part) = first {
                return Some(LinePart { harmonic, ..part.clone() });
            }
        }
        None
    }
}
