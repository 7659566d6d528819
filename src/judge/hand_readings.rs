//! What is read by hand at the bench: torques, offsets, the deck's own meters, held against their limits.

use super::findings::plain;
use crate::reading::{HandLimit, HandReadings, HandValue, JobSheet, Verdict};
use crate::trade::common_practice::{self, Bound, DeckClass, G_CM_IN_MN_M};

/// What kind of unit a quantity has; the first of its units is the one that limits are held in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandKind {
    /// Torque: g.cm or mN.m.
    Torque,
    /// Direct voltage: mV.
    Voltage,
    /// Level: dB on the deck's meter.
    Level,
}

impl HandKind {
    /// Units as people write them, with what stands for them in a key.
    pub fn units(self) -> &'static [(&'static str, &'static str)] {
        match self {
            Self::Torque => &[("g.cm", "g_cm"), ("mN.m", "mn_m")],
            Self::Voltage => &[("mV", "mv")],
            Self::Level => &[("dB", "db")],
        }
    }

    /// `value` in the first unit.
    fn held(self, value: f64, unit: &str) -> f64 {
        if self == Self::Torque && unit == "mN.m" { value / G_CM_IN_MN_M } else { value }
    }
}

/// A quantity that is read by hand.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HandQuantity {
    /// Name on the command line; with `_` for `-`, and the unit behind it, the key in the job's file.
    pub id: &'static str,
    /// Name of its limit, likewise; both directions or channels share one.
    pub limit: &'static str,
    /// What the trade calls it.
    pub words: &'static str,
    /// Its units.
    pub kind: HandKind,
    /// Range of what can be meant, in the first unit: beyond it a number is a slip of the pen.
    pub sane: (f64, f64),
    /// What to do about too little.
    low: &'static str,
    /// What to do about too much.
    high: &'static str,
}

const WIND_LOW: &str = "clean idler, pulleys and belt, renew what is hard, shiny or slack; look for a brake that rubs and a reel that binds";
const OFFSET: &str = "turn the offset trimmer where there is one (speakers and headphones off), warm deck; otherwise look for a leaky \
                      coupling capacitor or a drifted pair of transistors";
const TORQUES: (f64, f64) = (0.0, 5000.0);

/// Every quantity that is read by hand, in the order of work. The remedies are common practice, no source.
pub const HAND_QUANTITIES: [HandQuantity; 8] = [
    HandQuantity {
        id: "take-up-torque",
        limit: "take-up-torque",
        words: "take-up torque in play",
        kind: HandKind::Torque,
        sane: TORQUES,
        low: "clean idler, clutch and belt, renew what is hard, shiny or slack; set the slip clutch where the deck has a screw or a nut for it",
        high: "slacken the slip clutch, look for a felt that sticks: too much pull drags the speed and stretches thin tape; a little \
               above the limit still serves",
    },
    HandQuantity {
        id: "wind-torque-forward",
        limit: "wind-torque",
        words: "fast winding torque, forward",
        kind: HandKind::Torque,
        sane: TORQUES,
        low: WIND_LOW,
        high: "look for a clutch that is blocked",
    },
    HandQuantity {
        id: "wind-torque-rewind",
        limit: "wind-torque",
        words: "fast winding torque, rewind",
        kind: HandKind::Torque,
        sane: TORQUES,
        low: WIND_LOW,
        high: "look for a clutch that is blocked",
    },
    HandQuantity {
        id: "back-tension",
        limit: "back-tension",
        words: "supply back tension in play",
        kind: HandKind::Torque,
        sane: TORQUES,
        low: "look at felt and spring of the supply reel's brake: without tension the tape leaves the head",
        high: "clean the supply reel's bearing, look for a brake that does not let go: too much tension flutters and wears the head",
    },
    HandQuantity {
        id: "direct-voltage-offset-left",
        limit: "direct-voltage-offset",
        words: "direct-voltage offset, left",
        kind: HandKind::Voltage,
        sane: (-100_000.0, 100_000.0),
        low: OFFSET,
        high: OFFSET,
    },
    HandQuantity {
        id: "direct-voltage-offset-right",
        limit: "direct-voltage-offset",
        words: "direct-voltage offset, right",
        kind: HandKind::Voltage,
        sane: (-100_000.0, 100_000.0),
        low: OFFSET,
        high: OFFSET,
    },
    HandQuantity {
        id: "meter-left",
        limit: "meter",
        words: "the deck's meter at the level tone, left",
        kind: HandKind::Level,
        sane: (-60.0, 20.0),
        low: "set the meter by the service manual, once replay level is right",
        high: "set the meter by the service manual, once replay level is right",
    },
    HandQuantity {
        id: "meter-right",
        limit: "meter",
        words: "the deck's meter at the level tone, right",
        kind: HandKind::Level,
        sane: (-60.0, 20.0),
        low: "set the meter by the service manual, once replay level is right",
        high: "set the meter by the service manual, once replay level is right",
    },
];

/// The quantity called `id`; `None` if there is none.
pub fn hand_quantity(id: &str) -> Option<&'static HandQuantity> {
    const ROWS: &[HandQuantity] = &HAND_QUANTITIES;
    ROWS.iter().find(|row| row.id == id)
}

impl HandQuantity {
    /// Key of a value in the job's file, with `unit` as people write it.
    pub fn key(&self, unit: &str) -> Option<String> {
        let (_, in_key) = self.kind.units().iter().find(|(written, _)| *written == unit)?;
        Some(format!("{}_{in_key}", self.id.replace('-', "_")))
    }

    /// Whether `value` in `unit` can be meant.
    pub fn is_sane(&self, value: f64, unit: &str) -> bool {
        let held = self.kind.held(value, unit);
        (self.sane.0..=self.sane.1).contains(&held)
    }
}

/// A value read by hand, judged.
#[derive(Debug, Clone, PartialEq)]
pub struct HandJudged {
    /// As it was read, and in the other unit where there is one.
    pub text: String,
    /// How it stands to its limit; a reading by hand states no uncertainty.
    pub verdict: Verdict,
    /// What to do if it is outside.
    pub turn: Option<&'static str>,
}

/// One quantity as found and as left.
#[derive(Debug, Clone, PartialEq)]
pub struct HandRow {
    /// Name of the quantity.
    pub id: &'static str,
    /// What the trade calls it.
    pub words: &'static str,
    /// Before the work.
    pub as_found: Option<HandJudged>,
    /// After it.
    pub as_left: Option<HandJudged>,
    /// The limit in words, with where it comes from.
    pub limit: String,
}

impl HandRow {
    /// The newer of the two values.
    pub fn now(&self) -> Option<&HandJudged> {
        self.as_left.as_ref().or(self.as_found.as_ref())
    }
}

/// Every quantity of the sheet, judged, in the order of work, read or not.
///
/// The limits of the job's file go first, whole for a quantity; where it has none, those of common practice hold.
pub fn judge_by_hand(sheet: &JobSheet) -> Vec<HandRow> {
    HAND_QUANTITIES
        .iter()
        .map(|quantity| {
            let (bound, limit) = limit_of(quantity, sheet);
            let of = |readings: &HandReadings| {
                let value = readings.values.iter().find(|value| value.quantity == quantity.id)?;
                Some(judged(quantity, value, bound))
            };
            HandRow {
                id: quantity.id,
                words: quantity.words,
                as_found: of(&sheet.as_found),
                as_left: of(&sheet.as_left),
                limit,
            }
        })
        .collect()
}

/// The bound in the first unit, and its words.
fn limit_of(quantity: &HandQuantity, sheet: &JobSheet) -> (Option<Bound>, String) {
    if let Some(told) = sheet.hand_limits.iter().find(|limit| limit.quantity == quantity.limit) {
        let source = sheet.hand_limits_source.as_deref().unwrap_or("from the job's file");
        let bound = told_bound(quantity, told);
        return (bound, bound.map_or_else(|| NO_LIMIT.to_owned(), |bound| words(quantity, bound, source)));
    }
    let Some(row) = common_practice::limit(quantity.limit) else { return (None, NO_LIMIT.to_owned()) };
    let (class, name) =
        if sheet.deck.modest { (DeckClass::Modest, "modest deck") } else { (DeckClass::Good, "good deck") };
    let bound = row.bound(class);
    (Some(bound), words(quantity, bound, &format!("{name}: {}", row.basis.text())))
}

const NO_LIMIT: &str = "no limit known; the service manual's goes into [hand_limits]";

fn told_bound(quantity: &HandQuantity, told: &HandLimit) -> Option<Bound> {
    let held = |value: f64| quantity.kind.held(value, &told.unit);
    match (told.least.map(held), told.most.map(held)) {
        (Some(least), Some(most)) => Some(Bound::Between(least, most)),
        (Some(least), None) => Some(Bound::AtLeast(least)),
        // An offset has a sign, and a manual states its size.
        (None, Some(most)) if quantity.kind == HandKind::Voltage => Some(Bound::PlusMinus(most)),
        (None, Some(most)) => Some(Bound::AtMost(most)),
        (None, None) => None,
    }
}

fn words(quantity: &HandQuantity, bound: Bound, source: &str) -> String {
    let said = |unit: &str, factor: f64| match bound {
        Bound::PlusMinus(most) => format!("+-{} {unit}", short(most * factor)),
        Bound::AtMost(most) => format!("at most {} {unit}", short(most * factor)),
        Bound::AtLeast(least) => format!("at least {} {unit}", short(least * factor)),
        Bound::Between(low, high) => format!("{} to {} {unit}", short(low * factor), short(high * factor)),
    };
    let unit = quantity.kind.units()[0].0;
    let other = match quantity.kind {
        HandKind::Torque => format!("{}; ", said("mN.m", G_CM_IN_MN_M)),
        _ => String::new(),
    };
    format!("{} ({other}{source})", said(unit, 1.0))
}

/// As many decimals as a spring gauge or a voltmeter gives.
fn short(value: f64) -> String {
    let digits = if value.abs() < 10.0 { 2 } else { 1 };
    let rounded = format!("{value:.digits$}");
    plain(rounded.parse().unwrap_or(value))
}

fn judged(quantity: &HandQuantity, value: &HandValue, bound: Option<Bound>) -> HandJudged {
    let held = quantity.kind.held(value.value, &value.unit);
    let mut text = format!("{} {}", plain(value.value), value.unit);
    if quantity.kind == HandKind::Torque {
        text += &match value.unit.as_str() {
            "mN.m" => format!(" ({} g.cm)", short(held)),
            _ => format!(" ({} mN.m)", short(held * G_CM_IN_MN_M)),
        };
    }
    let Some(bound) = bound else { return HandJudged { text, verdict: Verdict::CannotTell, turn: None } };
    // What was typed at the limit keeps it, also after going from one unit to the other and back.
    if bound.excess(held) <= 1e-9 * held.abs() {
        return HandJudged { text, verdict: Verdict::Within, turn: None };
    }
    let too_low = match bound {
        Bound::PlusMinus(_) => held < 0.0,
        Bound::AtMost(_) => false,
        Bound::AtLeast(_) => true,
        Bound::Between(low, _) => held < low,
    };
    let turn = Some(if too_low { quantity.low } else { quantity.high });
    HandJudged { text, verdict: Verdict::Outside, turn }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(quantity: &str, value: f64, unit: &str) -> JobSheet {
        let values = vec![HandValue { quantity: quantity.into(), value, unit: unit.into() }];
        JobSheet { as_found: HandReadings { values, tape_path: None }, ..JobSheet::default() }
    }

    fn verdict(sheet: &JobSheet) -> Verdict {
        judge_by_hand(sheet).into_iter().find_map(|row| row.as_found).unwrap().verdict
    }

    /// Bounds: tests/tables/common-practice.tsv; 1 g.cm = 0.0980665 mN.m exactly (standard gravity).
    #[test]
    fn both_units_meet_the_limits_of_common_practice() {
        for (quantity, value, unit, want) in [
            ("take-up-torque", 40.0, "g.cm", Verdict::Within),
            ("take-up-torque", 39.9, "g.cm", Verdict::Outside),
            ("take-up-torque", 40.0 * 0.0980665, "mN.m", Verdict::Within),
            ("take-up-torque", 3.91, "mN.m", Verdict::Outside),
            ("take-up-torque", 60.0 * 0.0980665, "mN.m", Verdict::Within),
            ("take-up-torque", 5.89, "mN.m", Verdict::Outside),
            ("wind-torque-rewind", 119.0, "g.cm", Verdict::Outside),
            ("wind-torque-forward", 11.8, "mN.m", Verdict::Within),
            ("back-tension", 6.1, "g.cm", Verdict::Outside),
            ("direct-voltage-offset-left", -10.0, "mV", Verdict::Within),
            ("direct-voltage-offset-right", -10.1, "mV", Verdict::Outside),
            ("meter-left", 1.0, "dB", Verdict::CannotTell),
        ] {
            assert_eq!(verdict(&sheet(quantity, value, unit)), want, "{quantity} {value} {unit}");
        }
        let mut modest = sheet("take-up-torque", 70.0, "g.cm");
        assert_eq!(verdict(&modest), Verdict::Outside);
        modest.deck.modest = true;
        assert_eq!(verdict(&modest), Verdict::Within);
    }

    #[test]
    fn the_manual_goes_before_common_practice_and_says_so() {
        let mut sheet = sheet("take-up-torque", 65.0, "g.cm");
        sheet.hand_limits_source = Some("invented manual, page 4".into());
        sheet.hand_limits.push(HandLimit {
            quantity: "take-up-torque".into(),
            least: Some(3.0),
            most: Some(7.0),
            unit: "mN.m".into(),
        });
        let row = &judge_by_hand(&sheet)[0];
        assert_eq!(row.as_found.as_ref().unwrap().verdict, Verdict::Within);
        assert!(row.limit.ends_with("3 to 7 mN.m; invented manual, page 4)"), "{}", row.limit);
        let offset = HandLimit {
            quantity: "direct-voltage-offset".into(),
            least: None,
            most: Some(50.0),
            unit: "mV".into(),
        };
        let mut sheet = self::sheet("direct-voltage-offset-left", -60.0, "mV");
        sheet.hand_limits.push(offset);
        assert_eq!(verdict(&sheet), Verdict::Outside, "a size, whatever the sign");
    }

    #[test]
    fn what_is_outside_says_which_way() {
        let turn =
            |value| judge_by_hand(&sheet("take-up-torque", value, "g.cm"))[0].now().unwrap().turn.unwrap();
        assert!(turn(20.0).contains("renew what is hard"));
        assert!(turn(90.0).contains("slacken"));
        let row = &judge_by_hand(&sheet("take-up-torque", 48.0, "g.cm"))[0];
        assert_eq!(row.now().unwrap().text, "48 g.cm (4.71 mN.m)");
        assert_eq!(row.limit, "40 to 60 g.cm (3.92 to 5.88 mN.m; good deck: common practice, no source)");
    }
}
