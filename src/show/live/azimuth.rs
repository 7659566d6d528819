//! Azimuth: the phase as one large figure, how far from zero, where it was best, and on which turn of phase it lies.

use super::bar::{Around, span};
use super::look::{PLAIN, STRONG, Sheet};
use super::{big, said, xy};
use crate::reading::figures::UnitKind;
use crate::reading::{AzimuthNow, Figure, PhaseTurn, Picture};

/// The widest figure: a whole number beyond it has fewer signs.
const WIDEST: &str = "-88.8";
/// Rows below the figure that have the whole width.
const BELOW: usize = 3;

/// Draws it.
pub(super) fn draw(sheet: &mut Sheet<'_>, picture: &Picture, now: &AzimuthNow) {
    let (width, height) = (sheet.width(), sheet.height());
    let scope = xy::size(height.saturating_sub(BELOW));
    let beside = width.saturating_sub(scope.0 + 3);
    xy::draw(&mut sheet.part(beside + 1, 0, scope.0 + 2, scope.1 + 2), &now.xy, scope);
    let thick = 1 + height / 20;
    let rows = height.saturating_sub(BELOW + 2 + Around::rows(thick));
    let verdict = picture.figure.as_ref().and_then(|figure| figure.verdict);
    let mut part = sheet.part(0, 0, beside, height.saturating_sub(BELOW));
    let (name, number, unit) = large(picture.figure.as_ref(), now);
    part.text(0, 0, &format!("{name}, {unit}"), STRONG);
    if let Some(figure) = &picture.figure {
        let style = part.look.verdict(verdict);
        part.text_right(0, &said::judged(figure), style);
    }
    let size = big::size(WIDEST, beside, rows);
    let right = big::width(WIDEST, size);
    match number {
        Some(number) => {
            let style = part.look.digits(verdict);
            big::draw(&mut part, right, 1, &number, size, style);
        }
        None => drop(part.text(0, 1, said::CANNOT_TELL, STRONG)),
    }
    let y = rows + 1;
    part.text(0, y, &format!("{}, {}", leading(now), smaller(now)), STRONG);
    around(picture.figure.as_ref(), now, part.look.digits(verdict)).draw(&mut part, y + 1, thick);
    let y = height.saturating_sub(BELOW);
    sheet.text(0, y, &best(picture.figure.as_ref(), now), STRONG);
    sheet.text(0, y + 1, &turn(&now.turn), PLAIN);
    sheet.text(0, y + 2, &levels(now), PLAIN);
}

/// Name, number and unit of the large figure.
fn large(figure: Option<&Figure>, now: &AzimuthNow) -> (String, Option<String>, String) {
    if let Some(figure) = figure {
        let mut rounded = figure.clone();
        if figure.value.abs() >= 99.95 {
            // Tenths would make the digits smaller, and nobody turns by them there.
            rounded.uncertainty = Some(figure.uncertainty.unwrap_or(0.0).max(3.0));
        }
        return (figure.name.clone(), said::number(&rounded), said::unit(figure).to_owned());
    }
    let name = now.hz.map_or("phase".to_owned(), |hz| format!("phase at {}", said::hertz(hz)));
    let number = said::figure(UnitKind::Degrees, now.phase_deg, now.phase_uncertainty_deg);
    (name, number.map(|number| number.signed().number()), UnitKind::Degrees.word().to_owned())
}

/// Which channel is late; neither within the uncertainty.
pub(super) fn leading(now: &AzimuthNow) -> &'static str {
    let by_delay = said::finite(now.delay_us).map(|late| (late, now.delay_uncertainty_us));
    let by_phase = said::finite(now.phase_deg).map(|phase| (-phase, now.phase_uncertainty_deg));
    match by_delay.or(by_phase) {
        Some((late, uncertainty)) if late.abs() <= uncertainty.unwrap_or(0.0) => "neither lags",
        Some((late, _)) if late > 0.0 => "right lags",
        Some(_) => "right leads",
        None => said::CANNOT_TELL,
    }
}

/// Delay and angle.
pub(super) fn smaller(now: &AzimuthNow) -> String {
    let delay = said::deviation_in_full(UnitKind::Microseconds, now.delay_us, now.delay_uncertainty_us);
    // A head's angle follows from its delay, and so does how sure it is.
    let angle = said::deviation(UnitKind::ArcMinutes, now.angle_arcmin, None);
    format!("{delay}, {angle}")
}

/// The bar: in degrees where the figure is a phase, otherwise in microseconds.
fn around(figure: Option<&Figure>, now: &AzimuthNow, style: ratatui_core::style::Style) -> Around {
    let best = now.best.map(|best| best.value);
    let off = figure.map(|figure| figure.value);
    if figure.is_some_and(|figure| figure.unit == "us") {
        let span = span(now.limit_us, 100.0);
        return Around { off, limit: now.limit_us, best, span, style };
    }
    Around { off: off.or(now.phase_deg), limit: now.limit_deg, best, span: 180.0, style }
}

/// `best +2 degrees, 4 s ago; now +14`; only while it stands worse than it did, by more than the uncertainty.
fn best(figure: Option<&Figure>, now: &AzimuthNow) -> String {
    let (Some(best), Some(figure)) = (now.best, figure) else { return String::new() };
    if !(figure.value.abs() - best.value.abs() > figure.uncertainty.unwrap_or(0.0)) {
        return String::new();
    }
    let [then, value] = [best.value, figure.value].map(|value| {
        let figure = Figure { value, ..figure.clone() };
        said::number(&figure).unwrap_or_else(|| said::CANNOT_TELL.to_owned())
    });
    format!(
        "best {then} {unit}, {ago} ago; now {value}",
        unit = said::unit(figure),
        ago = said::seconds(best.ago_s)
    )
}

/// On which turn of phase the delay lies.
fn turn(turn: &PhaseTurn) -> String {
    match turn {
        PhaseTurn::Known { hz } if hz.is_empty() => "turn of phase: known by noise or music".to_owned(),
        PhaseTurn::Known { hz } => format!("turn of phase: known by {}", said::several_hertz(hz)),
        PhaseTurn::Unknown { period_us } => {
            let period = said::told(UnitKind::Microseconds, Some(*period_us), None);
            format!("one tone only: may be a whole turn ({period}) off; play a second tone, or noise")
        }
    }
}

/// Both levels, and how far below the highest that was passed: they peak where azimuth is right.
fn levels(now: &AzimuthNow) -> String {
    let each = ["left", "right"].into_iter().enumerate().map(|(channel, name)| {
        let level = said::told(UnitKind::Dbfs, now.level_dbfs[channel], None);
        let below = said::told(UnitKind::Db, now.below_highest_db[channel].map(f64::abs), None);
        format!("{name} {level}, {below} below its peak")
    });
    each.collect::<Vec<_>>().join("; ")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::BestPassed;

    fn now(delay_us: Option<f64>, phase_deg: Option<f64>) -> AzimuthNow {
        AzimuthNow {
            hz: Some(10_000.0),
            phase_deg,
            phase_uncertainty_deg: Some(0.5),
            delay_us,
            delay_uncertainty_us: Some(0.1),
            angle_arcmin: None,
            turn: PhaseTurn::Unknown { period_us: 100.0 },
            at_10k_deg: None,
            limit_deg: None,
            limit_us: None,
            best: Some(BestPassed { value: -2.0, ago_s: 4.0 }),
            level_dbfs: [None; 2],
            below_highest_db: [None; 2],
            xy: Vec::new(),
        }
    }

    #[test]
    fn the_channel_that_lags_is_named_only_beyond_the_uncertainty() {
        for (delay, phase, want) in [
            (Some(0.2), Some(-9.0), "right lags"),
            (Some(-0.2), None, "right leads"),
            (Some(0.1), None, "neither lags"),
            (None, Some(-9.0), "right lags"),
            (None, Some(9.0), "right leads"),
            (None, None, "cannot tell"),
            (Some(f64::NAN), None, "cannot tell"),
        ] {
            assert_eq!(leading(&now(delay, phase)), want, "{delay:?} {phase:?}");
        }
    }

    #[test]
    fn the_best_place_is_said_only_while_it_is_clearly_worse_now() {
        let figure = |value| Figure {
            name: "phase at 10 kHz".to_owned(),
            value,
            uncertainty: Some(0.5),
            unit: "degrees".to_owned(),
            target: Some(0.0),
            limit: None,
            verdict: None,
        };
        let said = |value| best(Some(&figure(value)), &now(None, None));
        assert_eq!(said(14.0), "best -2.0 degrees, 4 s ago; now +14.0");
        assert_eq!(said(-2.6), "best -2.0 degrees, 4 s ago; now -2.6");
        assert_eq!([said(2.4), said(-1.0), said(f64::NAN)], [""; 3]);
        assert_eq!(best(None, &now(None, None)), "");
    }
}
