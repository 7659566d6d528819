//! Figures as words: digits by uncertainty, sign on deviations, never a negative zero.

/// Decimals that a value with this uncertainty deserves, 0 to 4.
///
/// The last digit shown is the first digit of the uncertainty, or the second if the first is 1 or 2 (common practice,
/// no source). An uncertainty that is 0, missing or not finite gives `otherwise`.
pub fn decimals(uncertainty: Option<f64>, otherwise: usize) -> usize {
    let Some(uncertainty) = uncertainty.filter(|u| u.is_finite() && *u > 0.0) else { return otherwise };
    let exponent = uncertainty.log10().floor();
    let lead = uncertainty / 10f64.powf(exponent);
    let wanted = if lead < 2.95 { 1.0 - exponent } else { -exponent };
    wanted.clamp(0.0, 5.0) as usize
}

/// As [`decimals`] for decibels, of which nobody turns a trimmer by a ten-thousandth.
pub fn decimals_db(uncertainty: Option<f64>, otherwise: usize) -> usize {
    decimals(uncertainty, otherwise).min(3)
}

/// A deviation with its sign; zero carries none.
pub fn signed(value: f64, decimals: usize) -> String {
    let text = unsigned(value, decimals);
    let is_zero = text.chars().all(|c| c == '0' || c == '.');
    if value > 0.0 && !is_zero { format!("+{text}") } else { text }
}

/// A number with so many decimals; a value that rounds to zero is never written as minus zero.
pub fn unsigned(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    match text.strip_prefix('-') {
        Some(rest) if rest.chars().all(|c| c == '0' || c == '.') => rest.to_owned(),
        _ => text,
    }
}

/// A frequency as the trade says it: `63 Hz`, `3.15 kHz`, `10 kHz`.
pub fn frequency(hz: f64) -> String {
    let (number, unit) = if hz >= 1000.0 { (hz / 1000.0, "kHz") } else { (hz, "Hz") };
    let decimals = if hz >= 10_000.0 {
        1
    } else if hz >= 1000.0 || hz < 100.0 {
        2
    } else {
        1
    };
    let text = format!("{number:.decimals$}");
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    format!("{text} {unit}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_follow_the_uncertainty() {
        for (uncertainty, want) in [
            (0.0012, 4),
            (0.004, 3),
            (0.03, 2),
            (0.015, 3),
            (0.15, 2),
            (0.5, 1),
            (1.2, 1),
            (4.0, 0),
            (30.0, 0),
        ] {
            assert_eq!(decimals(Some(uncertainty), 9), want, "uncertainty {uncertainty}");
        }
        assert_eq!(decimals(None, 2), 2);
        assert_eq!(decimals(Some(0.0), 3), 3);
        assert_eq!(decimals(Some(f64::NAN), 1), 1);
    }

    #[test]
    fn no_minus_zero_and_a_sign_on_every_deviation() {
        assert_eq!(signed(-0.001, 2), "0.00");
        assert_eq!(signed(0.001, 2), "0.00");
        assert_eq!(signed(1.0, 1), "+1.0");
        assert_eq!(signed(-1.0, 1), "-1.0");
        assert_eq!(unsigned(0.0456, 4), "0.0456");
    }

    #[test]
    fn frequencies_read_as_the_trade_says_them() {
        let got: Vec<String> = [63.0, 31.5, 315.0, 400.0, 1000.0, 3150.0, 10_000.0, 12_500.0, 6.064, 100.0]
            .map(frequency)
            .to_vec();
        assert_eq!(
            got,
            [
                "63 Hz", "31.5 Hz", "315 Hz", "400 Hz", "1 kHz", "3.15 kHz", "10 kHz", "12.5 kHz", "6.06 Hz",
                "100 Hz"
            ]
        );
    }
}
