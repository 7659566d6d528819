//! Figures for people: one rule for digits, sign and unit, wherever a figure stands.
//!
//! The uncertainty decides how many decimals are shown; a good bench instrument's last digit is the most. Values keep full
//! precision everywhere else.

use std::fmt;

/// What a figure counts in. It fixes the word behind the number and the finest digit that is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum UnitKind {
    /// Gain, level against a reference, response: 0.01 dB.
    Db,
    /// Level of a return: 0.01 dBFS.
    Dbfs,
    /// Speed against nominal: 0.01 %.
    SpeedPercent,
    /// Drift of the speed: 0.001 % per minute.
    PercentPerMinute,
    /// Flutter and distortion: three digits that count, at most 0.0001 %.
    Percent,
    /// Delay and time constants: 0.1 us.
    Microseconds,
    /// Head tilt: 0.1 minutes of arc.
    ArcMinutes,
    /// Phase: 0.1 degrees.
    Degrees,
    /// Frequency of a tone: 0.1 Hz.
    Hertz,
    /// Rate of a component of hum or a line of flutter: 0.01 Hz if it is that sure, or below 10 Hz.
    LineHertz,
    /// Drift of a line's rate: 0.001 Hz per minute.
    HertzPerMinute,
    /// Time: 0.01 s.
    Seconds,
    /// Time: 0.1 ms.
    Milliseconds,
    /// Voltage: three digits that count, at most 0.1 mV.
    Millivolts,
    /// Distance from the tape: 0.001 um.
    Micrometres,
    /// Fluxivity: 0.1 nWb/m.
    Fluxivity,
    /// Tape speed: 0.01 mm/s.
    TapeSpeed,
    /// Place along a programme of rounds: 0.1.
    Rounds,
}

impl UnitKind {
    /// The kind behind a unit as readings write it; `quantity` tells the percents apart. `None` for a unit that is not known.
    pub fn of_unit(unit: &str, quantity: &str) -> Option<Self> {
        Some(match unit {
            "dBFS" => Self::Dbfs,
            unit if unit.starts_with("dB") => Self::Db,
            "percent" | "%" if quantity.contains("speed") => Self::SpeedPercent,
            "percent" | "%" => Self::Percent,
            "percent per minute" => Self::PercentPerMinute,
            "us" => Self::Microseconds,
            "um" => Self::Micrometres,
            "minutes of arc" | "arcmin" => Self::ArcMinutes,
            "degree" | "degrees" => Self::Degrees,
            "Hz" => Self::Hertz,
            "s" => Self::Seconds,
            "ms" => Self::Milliseconds,
            "mV" => Self::Millivolts,
            "rounds" => Self::Rounds,
            _ => return None,
        })
    }

    /// The word behind the number; empty for rounds.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Db => "dB",
            Self::Dbfs => "dBFS",
            Self::SpeedPercent | Self::Percent => "%",
            Self::PercentPerMinute => "% per minute",
            Self::Microseconds => "us",
            Self::ArcMinutes => "minutes of arc",
            Self::Degrees => "degrees",
            Self::Hertz | Self::LineHertz => "Hz",
            Self::HertzPerMinute => "Hz a minute",
            Self::Seconds => "s",
            Self::Milliseconds => "ms",
            Self::Millivolts => "mV",
            Self::Micrometres => "um",
            Self::Fluxivity => "nWb/m",
            Self::TapeSpeed => "mm/s",
            Self::Rounds => "",
        }
    }

    /// A figure in this unit. `uncertainty` (k = 2) is `None` where none is known.
    pub fn of(self, value: f64, uncertainty: impl Into<Option<f64>>) -> Figure {
        let sure = |u: &f64| u.is_finite() && *u > 0.0;
        Figure { value, uncertainty: uncertainty.into().filter(sure), unit: self, signed: false }
    }

    /// Most decimals of `value`, and those of a value whose uncertainty is not known.
    fn decimals(self, value: f64) -> (usize, usize) {
        // Three digits that count.
        let counting = |most: f64| {
            let exponent = value.abs().log10().floor();
            let digits = if exponent.is_finite() { (2.0 - exponent).clamp(0.0, most) as usize } else { 2 };
            (digits, digits)
        };
        match self {
            Self::Db | Self::Dbfs => (2, 1),
            Self::SpeedPercent | Self::TapeSpeed => (2, 2),
            Self::Micrometres => (3, 2),
            Self::PercentPerMinute | Self::HertzPerMinute => (3, 3),
            Self::Percent => counting(4.0),
            Self::Millivolts => counting(1.0),
            Self::Microseconds | Self::ArcMinutes | Self::Hertz | Self::Rounds => (1, 1),
            Self::LineHertz => (2, if value < 10.0 { 2 } else { 1 }),
            Self::Seconds => (2, 1),
            Self::Milliseconds | Self::Degrees | Self::Fluxivity => (1, 0),
        }
    }
}

/// A value with its uncertainty and unit. `{}` prints value and unit, [`full`](Self::full) the uncertainty as well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figure {
    /// The value, in `unit`.
    pub value: f64,
    /// Expanded uncertainty (k = 2), in `unit`; `None` where none is known.
    pub uncertainty: Option<f64>,
    /// What it counts in.
    pub unit: UnitKind,
    signed: bool,
}

impl Figure {
    /// A deviation: a value above 0 carries a plus.
    #[must_use]
    pub const fn signed(mut self) -> Self {
        self.signed = true;
        self
    }

    /// Decimals shown: the last is the first digit of the uncertainty, or its second if the first is 1 or 2 (common practice,
    /// no source), but no finer than the unit's finest.
    fn decimals(&self) -> usize {
        let (most, otherwise) = self.unit.decimals(self.value);
        let Some(uncertainty) = self.uncertainty else { return otherwise };
        let exponent = uncertainty.log10().floor();
        let lead = uncertainty / 10f64.powf(exponent);
        let wanted = if lead < 2.95 { 1.0 - exponent } else { -exponent };
        (wanted.max(0.0) as usize).min(most)
    }

    /// The number alone, for a column whose head has the unit.
    pub fn number(&self) -> String {
        let decimals = self.decimals();
        if self.signed { signed(self.value, decimals) } else { unsigned(self.value, decimals) }
    }

    /// The uncertainty alone, rounded up to the value's last digit: rounded down it would claim more than is known.
    pub fn spread(&self) -> Option<String> {
        let decimals = self.decimals();
        let scale = 10f64.powi(decimals as i32);
        let steps = (self.uncertainty? * scale - 1e-6).ceil().max(1.0);
        Some(unsigned(steps / scale, decimals))
    }

    /// Value and uncertainty without the unit.
    pub fn bare(&self) -> String {
        self.spread().map_or_else(|| self.number(), |spread| format!("{} +- {spread}", self.number()))
    }

    /// Value, uncertainty and unit, such as `-13.60 +- 0.03 dBFS`.
    pub fn full(&self) -> String {
        with_unit(self.bare(), self.unit)
    }

    /// A bound that a value does not exceed, rounded up.
    pub fn ceiling(&self) -> String {
        let decimals = self.decimals();
        let scale = 10f64.powi(decimals as i32);
        let steps = (self.value * scale - 1e-6).ceil();
        // A bound of 0 would say that nothing is there at all.
        let steps = if self.value >= 0.0 { steps.max(1.0) } else { steps };
        unsigned(steps / scale, decimals)
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&with_unit(self.number(), self.unit))
    }
}

fn with_unit(number: String, unit: UnitKind) -> String {
    if unit == UnitKind::Rounds { format!("round {number}") } else { format!("{number} {}", unit.word()) }
}

/// A deviation with its sign; zero carries none.
fn signed(value: f64, decimals: usize) -> String {
    let text = unsigned(value, decimals);
    let is_zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && !is_zero { format!("+{text}") } else { text }
}

/// A number with so many decimals; a value that rounds to zero is never written as minus zero.
fn unsigned(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => text,
    }
}

/// A given number (a limit, a mark on an axis) with as many decimals as it has, at most `most`.
pub fn given(value: f64, most: usize) -> String {
    let text = unsigned(value, most);
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A level of the programme, as its recipe has it: `-20 dB`, `+2.5 dB`.
pub fn programme_level(db: f64) -> String {
    format!("{}{} dB", if db > 0.0 { "+" } else { "" }, given(db, 1))
}

/// A frequency as the trade says it: `63 Hz`, `3.15 kHz`, `10 kHz`.
pub fn frequency(hz: f64) -> String {
    let (number, unit) = if hz >= 1000.0 { (hz / 1000.0, "kHz") } else { (hz, "Hz") };
    let decimals = if (1000.0..10_000.0).contains(&hz) || hz < 10.0 { 2 } else { 1 };
    format!("{} {unit}", given(number, decimals))
}

#[cfg(test)]
mod tests {
    use super::UnitKind::*;
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty_and_stop_at_a_bench_instrument_s() {
        for (figure, want) in [
            (Dbfs.of(-13.601, 0.012), "-13.60 +- 0.02 dBFS"),
            (Db.of(1.506, 0.002).signed(), "+1.51 +- 0.01 dB"),
            (SpeedPercent.of(0.8184, 0.0021), "0.82 +- 0.01 %"),
            (Percent.of(0.07990, 0.00002), "0.0799 +- 0.0001 %"),
            (Percent.of(0.0456, 0.0012), "0.0456 +- 0.0012 %"),
            (Percent.of(1.23456, 0.001), "1.23 +- 0.01 %"),
            (Percent.of(12.3456, None), "12.3 %"),
            (Microseconds.of(17.0, 0.24).signed(), "+17.0 +- 0.3 us"),
            (Microseconds.of(118.4, 4.0), "118 +- 4 us"),
            (LineHertz.of(25.12, None), "25.1 Hz"),
            (LineHertz.of(50.02, 0.004), "50.02 +- 0.01 Hz"),
            (LineHertz.of(6.064, None), "6.06 Hz"),
            (Hertz.of(3151.234, 0.003), "3151.2 +- 0.1 Hz"),
            (Rounds.of(9.9, 0.0004), "round 9.9 +- 0.1"),
            (Db.of(-20.0, 0.5), "-20.0 +- 0.5 dB"),
            (Db.of(0.2, 30.0), "0 +- 30 dB"),
            (Db.of(2.0, f64::NAN), "2.0 dB"),
        ] {
            assert_eq!(figure.full(), want);
        }
        assert_eq!(Dbfs.of(-13.601, 0.012).to_string(), "-13.60 dBFS");
    }

    #[test]
    fn an_uncertainty_is_never_nothing_and_never_rounded_down() {
        for (uncertainty, want) in
            [(0.0, None), (1e-9, Some("0.01")), (0.0301, Some("0.04")), (0.03, Some("0.03"))]
        {
            assert_eq!(Db.of(1.0, uncertainty).spread().as_deref(), want, "{uncertainty}");
        }
        for (limit, want) in [(0.0123, "0.0123"), (0.50001, "0.501"), (12.11, "12.2"), (0.0, "0.01")] {
            assert_eq!(Percent.of(limit, None).ceiling(), want, "{limit}");
        }
    }

    #[test]
    fn no_minus_zero_and_a_sign_on_every_deviation() {
        let number = |value| Db.of(value, 0.03).signed().number();
        assert_eq!([-0.001, 0.001, 1.0, -1.0].map(number), ["0.00", "0.00", "+1.00", "-1.00"]);
        assert_eq!([0.0, -20.0, 2.5].map(programme_level), ["0 dB", "-20 dB", "+2.5 dB"]);
    }

    #[test]
    fn frequencies_read_as_the_trade_says_them() {
        let got: Vec<String> =
            [63.0, 31.5, 315.0, 400.0, 1000.0, 3150.0, 10_000.0, 12_500.0, 6.064, 25.12, 100.0]
                .map(frequency)
                .to_vec();
        assert_eq!(
            got,
            [
                "63 Hz", "31.5 Hz", "315 Hz", "400 Hz", "1 kHz", "3.15 kHz", "10 kHz", "12.5 kHz", "6.06 Hz",
                "25.1 Hz", "100 Hz"
            ]
        );
    }
}
