//! What is read by hand at the bench: torques, offsets, the deck's own meters, held against their limits.

use crate::judge::case::{Bounds, plain};
use crate::judge::tone_at_output::{MILLIVOLTMETER, SANE_MV};
use crate::reading::figures::{UnitKind, given};
use crate::reading::{Channel, HandLimit, HandReadings, HandValue, JobSheet, Verdict};
use crate::trade::common_practice::{self, Bound, DeckClass, G_CM_IN_MN_M};

/// What kind of unit a quantity has; the first of its units is the one that limits are held in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum HandKind {
    /// Torque: g.cm or mN.m.
    Torque,
    /// DC voltage: mV.
    Voltage,
    /// Level: dB on the deck's meter.
    Level,
    /// The level tone at the output: mV rms.
    Output,
}

impl HandKind {
    /// Units as people write them, with what stands for them in a key.
    pub fn units(self) -> &'static [(&'static str, &'static str)] {
        match self {
            Self::Torque => &[("g.cm", "g_cm"), ("mN.m", "mn_m")],
            Self::Voltage | Self::Output => &[("mV", "mv")],
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
    /// Of which channel it is; `None` where channels play no part.
    pub side: Option<Channel>,
    /// Range of what can be meant, in the first unit: beyond it a number is a slip of the pen.
    pub sane: (f64, f64),
    /// What such a gauge is usually wrong by (k = 2): so much of the value, and so much at least, in the first unit.
    gauge: (f64, f64),
    /// What to do about too little.
    low: &'static str,
    /// What to do about too much.
    high: &'static str,
}

const WIND_LOW: &str = "clean idler, pulleys and belt, renew what is hard, shiny or slack; look for a brake that rubs and a \
reel that binds";
const OFFSET: &str = "turn the offset trimmer where there is one (speakers and headphones off), warm deck; otherwise look \
for a leaky coupling capacitor or a drifted pair of transistors";
const METER_TURN: &str = "while the level tone plays. Set playback level first, or the meter is set to a wrong level. If the \
deck has no meter trimmer, allow for this when you read the meter";
const OUTPUT_TURN: &str = "see playback-level in the reading of that return";
const TORQUES: (f64, f64) = (0.0, 5000.0);
/// A torque cassette's spring, read while it swings: from memory.
const TORQUE_GAUGE: (f64, f64) = (0.1, 2.0);
/// A hand-held digital voltmeter near 0: from memory.
const VOLTMETER: (f64, f64) = (0.01, 0.5);
/// Half a mark of a needle near 0 dB; a row of lights is coarser (common practice, no source).
const METER: (f64, f64) = (0.0, 0.5);

/// Every quantity that is read by hand, in the order of work. The remedies are common practice, no source.
pub const HAND_QUANTITIES: [HandQuantity; 10] = [
    HandQuantity {
        id: "take-up-torque",
        limit: "take-up-torque",
        words: "take-up torque in play",
        kind: HandKind::Torque,
        side: None,
        sane: TORQUES,
        gauge: TORQUE_GAUGE,
        low: "clean idler, clutch and belt, renew what is hard, shiny or slack; set the slip clutch where the deck has a \
        screw or a nut for it",
        high: "slacken the slip clutch, look for a felt that sticks: too much pull drags the speed and stretches thin tape; \
        a little above the limit still serves",
    },
    winding("fast-forward-torque", "fast forward torque"),
    winding("rewind-torque", "rewind torque"),
    HandQuantity {
        id: "back-tension",
        limit: "back-tension",
        words: "supply back tension in play",
        kind: HandKind::Torque,
        side: None,
        sane: TORQUES,
        gauge: (TORQUE_GAUGE.0, 0.5),
        low: "look at felt and spring of the supply reel's brake: without back tension the tape leaves the head",
        high: "clean the supply reel's bearing, look for a brake that does not let go: too much tension flutters and wears \
        the head",
    },
    offset("dc-offset-left", "DC offset, left", Channel::Left),
    offset("dc-offset-right", "DC offset, right", Channel::Right),
    output("level-tone-left", "level tone at the output, left", Channel::Left),
    output("level-tone-right", "level tone at the output, right", Channel::Right),
    meter("meter-left", "the deck's meter at the level tone, left", Channel::Left),
    meter("meter-right", "the deck's meter at the level tone, right", Channel::Right),
];

const fn winding(id: &'static str, words: &'static str) -> HandQuantity {
    HandQuantity {
        id,
        limit: "fast-forward-and-rewind-torque",
        words,
        kind: HandKind::Torque,
        side: None,
        sane: TORQUES,
        gauge: (TORQUE_GAUGE.0, 5.0),
        low: WIND_LOW,
        high: "look for a clutch that is blocked",
    }
}

const fn offset(id: &'static str, words: &'static str, side: Channel) -> HandQuantity {
    HandQuantity {
        id,
        limit: "dc-offset",
        words,
        kind: HandKind::Voltage,
        side: Some(side),
        sane: (-100_000.0, 100_000.0),
        gauge: VOLTMETER,
        low: OFFSET,
        high: OFFSET,
    }
}

const fn output(id: &'static str, words: &'static str, side: Channel) -> HandQuantity {
    HandQuantity {
        id,
        limit: "level-tone",
        words,
        kind: HandKind::Output,
        side: Some(side),
        sane: SANE_MV,
        gauge: MILLIVOLTMETER,
        low: OUTPUT_TURN,
        high: OUTPUT_TURN,
    }
}

const fn meter(id: &'static str, words: &'static str, side: Channel) -> HandQuantity {
    HandQuantity {
        id,
        limit: "meter",
        words,
        kind: HandKind::Level,
        side: Some(side),
        sane: (-60.0, 20.0),
        gauge: METER,
        low: METER_TURN,
        high: METER_TURN,
    }
}

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

    /// Key of its uncertainty, likewise.
    pub fn within_key(&self, unit: &str) -> Option<String> {
        let (_, in_key) = self.kind.units().iter().find(|(written, _)| *written == unit)?;
        Some(format!("{}_within_{in_key}", self.id.replace('-', "_")))
    }

    /// Key of the return that was recorded while it was read; `None` if no return belongs to it.
    pub fn return_key(&self) -> Option<String> {
        (self.kind == HandKind::Output).then(|| format!("{}_return", self.id.replace('-', "_")))
    }

    /// What `value`, in the first unit, is uncertain by if nobody said, and what that rests on.
    fn usual(&self, held: f64) -> (f64, &'static str) {
        let (share, least) = self.gauge;
        let basis = match self.kind {
            HandKind::Level | HandKind::Output => "common practice, no source",
            HandKind::Torque | HandKind::Voltage => "from memory",
        };
        ((share * held.abs()).max(least), basis)
    }

    /// Whether a gauge may be wrong by `value` in `unit`.
    pub fn is_sane_within(&self, value: f64, unit: &str) -> bool {
        value > 0.0 && self.kind.held(value, unit) <= self.sane.1
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
    /// As it was read, with its uncertainty, and in the other unit where there is one.
    pub text: String,
    /// In the first unit of its kind.
    pub value: f64,
    /// Its expanded uncertainty (k = 2), in the first unit.
    pub uncertainty: f64,
    /// Where that comes from, in words.
    pub gauge: String,
    /// How it stands to its limit.
    pub verdict: Verdict,
    /// What to do if it is outside.
    pub turn: Option<String>,
}

/// One quantity as found and as left.
#[derive(Debug, Clone, PartialEq)]
pub struct HandRow {
    /// Name of the quantity.
    pub id: &'static str,
    /// What kind of unit it has.
    pub kind: HandKind,
    /// What the trade calls it.
    pub words: &'static str,
    /// Before the work.
    pub as_found: Option<HandJudged>,
    /// After it.
    pub as_left: Option<HandJudged>,
    /// What changed from one to the other, in words, if both were read.
    pub change: Option<String>,
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
            let (as_found, as_left) = (of(&sheet.as_found), of(&sheet.as_left));
            let change =
                as_found.as_ref().zip(as_left.as_ref()).map(|(found, left)| change(quantity, found, left));
            HandRow {
                id: quantity.id,
                kind: quantity.kind,
                words: quantity.words,
                as_found,
                as_left,
                change,
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
    if quantity.kind == HandKind::Output {
        return (None, JUDGED_IN_READING.to_owned());
    }
    let Some(row) = common_practice::limit(quantity.limit) else { return (None, NO_LIMIT.to_owned()) };
    let (class, name) = if sheet.deck.portable {
        (DeckClass::Portable, "portable")
    } else {
        (DeckClass::FullSize, "full-size deck")
    };
    let bound = row.bound(class);
    (Some(bound), words(quantity, bound, &format!("{name}: {}", row.basis.text())))
}

/// A tone of another level than the mark's has other millivolts than the manual gives.
const JUDGED_IN_READING: &str =
    "none of its own: a reading judges it as playback-level, by output_nominal_mv in [limits]";
const NO_LIMIT: &str = "no limit known; the service manual's goes into [hand_limits]";

fn told_bound(quantity: &HandQuantity, told: &HandLimit) -> Option<Bound> {
    let held = |value: f64| quantity.kind.held(value, &told.unit);
    match (told.least.map(held), told.most.map(held)) {
        (Some(least), Some(most)) => Some(Bound::Between(least, most)),
        (Some(least), None) => Some(Bound::AtLeast(least)),
        // An offset and a meter's error have a sign, and a manual states their size.
        (None, Some(most)) if matches!(quantity.kind, HandKind::Voltage | HandKind::Level) => {
            Some(Bound::PlusMinus(most))
        }
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
    let (uncertainty, gauge) = match value.uncertainty {
        Some(given) => (quantity.kind.held(given, &value.unit), "as noted".to_owned()),
        None => {
            let (usual, basis) = quantity.usual(held);
            (usual, format!("usual for such a gauge, {basis}"))
        }
    };
    let in_unit = if quantity.kind == HandKind::Torque && value.unit == "mN.m" { G_CM_IN_MN_M } else { 1.0 };
    let mut text = format!("{} +- {} {}", plain(value.value), few(uncertainty * in_unit), value.unit);
    if quantity.kind == HandKind::Torque {
        text += &match value.unit.as_str() {
            "mN.m" => format!(" ({} g.cm)", short(held)),
            _ => format!(" ({} mN.m)", short(held * G_CM_IN_MN_M)),
        };
    }
    let mut judged =
        HandJudged { text, value: held, uncertainty, gauge, verdict: Verdict::CannotTell, turn: None };
    let Some(bound) = bound else { return judged };
    let bounds = match bound {
        Bound::PlusMinus(most) => Bounds::within(most),
        Bound::AtMost(most) => Bounds::below(most),
        Bound::AtLeast(least) => Bounds::above(least),
        Bound::Between(low, high) => Bounds::between(low, high),
    };
    judged.verdict = bounds.stand(held, uncertainty);
    if judged.verdict == Verdict::Outside {
        let too_low = match bound {
            Bound::PlusMinus(_) => held < 0.0,
            Bound::AtMost(_) => false,
            Bound::AtLeast(_) => true,
            Bound::Between(low, _) => held < low,
        };
        let what = if too_low { quantity.low } else { quantity.high };
        judged.turn = Some(match quantity.kind {
            HandKind::Level => {
                let side = quantity.side.map_or("both", Channel::as_str);
                let way = if too_low { "up" } else { "down" };
                format!(
                    "meter trimmer, {side}: so that the meter goes {way} by {} dB, {what}",
                    short(held.abs())
                )
            }
            _ => what.to_owned(),
        });
    }
    judged
}

/// A gauge's uncertainty with at most two digits that count.
fn few(value: f64) -> String {
    let exponent = value.abs().log10().floor();
    // The first digit alone, or two if the first is 1 or 2.
    let lead = value.abs() / 10f64.powf(exponent);
    let decimals = (if lead < 2.95 { 1.0 } else { 0.0 } - exponent).clamp(0.0, 4.0);
    given(value, decimals as usize)
}

/// The gauge may be wrong the same way both times, so that a difference is known better than this says.
fn change(quantity: &HandQuantity, found: &HandJudged, left: &HandJudged) -> String {
    let (by, uncertainty) = (left.value - found.value, left.uncertainty.hypot(found.uncertainty));
    let said = if by.abs() > uncertainty { "changed" } else { "no change shown" };
    let unit = quantity.kind.units()[0].0;
    match UnitKind::of_unit(unit, quantity.id) {
        Some(unit) => format!("{}: {said}", unit.of(by, uncertainty).signed().full()),
        None => {
            format!("{}{} +- {} {unit}: {said}", if by > 0.0 { "+" } else { "" }, short(by), few(uncertainty))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn sheet(quantity: &str, value: f64, unit: &str) -> JobSheet {
        let values = vec![HandValue {
            quantity: quantity.into(),
            value,
            unit: unit.into(),
            uncertainty: None,
            of: None,
        }];
        JobSheet { as_found: HandReadings { values, tape_path: None }, ..JobSheet::default() }
    }

    fn verdict(sheet: &JobSheet) -> Verdict {
        judge_by_hand(sheet).into_iter().find_map(|row| row.as_found).unwrap().verdict
    }

    /// Bounds: tests/tables/common-practice.tsv; 1 g.cm = 0.0980665 mN.m exactly (standard gravity).
    #[test]
    fn both_units_meet_the_limits_of_common_practice() {
        // Without a note the gauge's usual uncertainty holds: 10 % of a torque, 0.5 mV, 0.5 dB.
        for (quantity, value, unit, want) in [
            ("take-up-torque", 50.0, "g.cm", Verdict::Within),
            ("take-up-torque", 40.0, "g.cm", Verdict::Marginal),
            ("take-up-torque", 37.0, "g.cm", Verdict::Marginal),
            ("take-up-torque", 36.0, "g.cm", Verdict::Outside),
            ("take-up-torque", 50.0 * 0.0980665, "mN.m", Verdict::Within),
            ("take-up-torque", 3.5, "mN.m", Verdict::Outside),
            ("take-up-torque", 60.0 * 0.0980665, "mN.m", Verdict::Marginal),
            ("take-up-torque", 6.6, "mN.m", Verdict::Outside),
            ("rewind-torque", 119.0, "g.cm", Verdict::Marginal),
            ("rewind-torque", 105.0, "g.cm", Verdict::Outside),
            ("fast-forward-torque", 13.4, "mN.m", Verdict::Within),
            ("back-tension", 6.1, "g.cm", Verdict::Marginal),
            ("back-tension", 7.0, "g.cm", Verdict::Outside),
            ("dc-offset-left", -9.0, "mV", Verdict::Within),
            ("dc-offset-left", -10.0, "mV", Verdict::Marginal),
            ("dc-offset-right", -10.6, "mV", Verdict::Outside),
            // A reading judges it: what is right depends on the tape.
            ("level-tone-left", 580.0, "mV", Verdict::CannotTell),
            ("meter-left", 0.4, "dB", Verdict::Within),
            ("meter-left", 1.6, "dB", Verdict::Outside),
        ] {
            assert_eq!(verdict(&sheet(quantity, value, unit)), want, "{quantity} {value} {unit}");
        }
        let mut portable = sheet("take-up-torque", 70.0, "g.cm");
        assert_eq!(verdict(&portable), Verdict::Outside);
        portable.deck.portable = true;
        assert_eq!(verdict(&portable), Verdict::Within);
    }

    #[test]
    fn a_noted_uncertainty_decides_and_the_meter_is_turned_the_way_it_is_off() {
        let with = |value, unit: &str, uncertainty| {
            let mut sheet = sheet("take-up-torque", value, unit);
            sheet.as_found.values[0].uncertainty = Some(uncertainty);
            verdict(&sheet)
        };
        assert_eq!(with(37.0, "g.cm", 2.0), Verdict::Outside);
        assert_eq!(with(37.0, "g.cm", 4.0), Verdict::Marginal);
        assert_eq!(with(45.0, "g.cm", 3.0), Verdict::Within);
        // Half the range is 10 g.cm, 0.98 mN.m.
        assert_eq!(with(50.0, "g.cm", 11.0), Verdict::CannotTell);
        assert_eq!(with(4.5, "mN.m", 0.9), Verdict::Marginal);
        assert_eq!(with(4.9, "mN.m", 1.0), Verdict::CannotTell);
        let turn = |value| {
            let rows = judge_by_hand(&sheet("meter-left", value, "dB"));
            rows.into_iter().find(|row| row.id == "meter-left").unwrap().as_found.unwrap().turn.unwrap()
        };
        assert!(
            turn(2.0).starts_with("meter trimmer, left: so that the meter goes down by 2 dB"),
            "{}",
            turn(2.0)
        );
        assert!(turn(-2.0).contains("goes up by 2 dB") && turn(-2.0).contains("Set playback level first"));
        let mut both = sheet("take-up-torque", 30.0, "g.cm");
        both.as_left = both.as_found.clone();
        both.as_left.values[0].value = 50.0;
        let change = judge_by_hand(&both)[0].change.clone().unwrap();
        // 10 % of 30 and of 50 in quadrature.
        assert_eq!(change, "+20 +- 6 g.cm: changed");
    }

    #[test]
    fn the_manual_goes_before_common_practice_and_says_so() {
        let mut sheet = sheet("take-up-torque", 62.0, "g.cm");
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
        let offset =
            HandLimit { quantity: "dc-offset".into(), least: None, most: Some(50.0), unit: "mV".into() };
        let mut sheet = self::sheet("dc-offset-left", -60.0, "mV");
        sheet.hand_limits.push(offset);
        assert_eq!(verdict(&sheet), Verdict::Outside, "a size, whatever the sign");
    }

    #[test]
    fn what_is_outside_says_which_way() {
        let turn = |value| {
            judge_by_hand(&sheet("take-up-torque", value, "g.cm"))[0].now().unwrap().turn.clone().unwrap()
        };
        assert!(turn(20.0).contains("renew what is hard"));
        assert!(turn(90.0).contains("slacken"));
        let row = &judge_by_hand(&sheet("take-up-torque", 48.0, "g.cm"))[0];
        assert_eq!(row.now().unwrap().text, "48 +- 5 g.cm (4.71 mN.m)");
        assert_eq!(
            row.limit,
            "40 to 60 g.cm (3.92 to 5.88 mN.m; full-size deck: common practice, no source)"
        );
    }
}
