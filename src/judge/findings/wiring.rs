//! Finding `wiring`: swapped, inverted, dead or mono.

use crate::judge::case::{Bench, SIDES};
use crate::judge::work::turns::{said, step};
use crate::reading::figures::UnitKind;
use crate::reading::{Adjustment, Channel, Finding, Unit, Untold, Verdict, level_tone};

pub(crate) fn finding(bench: &Bench) -> Finding {
    let reading = bench.reading;
    let capture = &reading.capture;
    let difference_db = level_tone(&reading.level).and_then(|tone| tone.difference_db);
    // Two levels, each with this uncertainty.
    let uncertainty_db =
        level_tone(&reading.level).map(|tone| tone.uncertainty_db * std::f64::consts::SQRT_2);
    let dead = bench.dead.iter().position(|&dead| dead);
    let told = reading.recipe.is_some();

    let (verdict, channel, why, turn) = if capture.mono {
        (
            Verdict::Outside,
            Channel::Both,
            "mono: both channels carry one and the same signal".to_owned(),
            Some(
                "connect left and right separately, record in stereo, and switch off any mono button"
                    .to_owned(),
            ),
        )
    } else if let Some(dead) = dead {
        let side = SIDES[dead];
        let level = match difference_db {
            Some(db) => format!("left minus right {}", UnitKind::Db.of(db, uncertainty_db).signed()),
            None => "no signal".to_owned(),
        };
        (
            Verdict::Outside,
            side,
            format!("the {side} channel is dead: {level}"),
            Some(format!(
                "check the {side} cable and plug first, then the {side} head winding and amplifier"
            )),
        )
    } else if capture.channels_swapped || capture.inverted[0] != capture.inverted[1] {
        let side = SIDES[usize::from(capture.inverted[1])];
        let mut found = Vec::new();
        let mut turns = Vec::new();
        if capture.channels_swapped {
            found.push(
                "left and right are exchanged; the figures below are already corrected for it".to_owned(),
            );
            turns.push("exchange the left and right plugs at the sound card".to_owned());
        }
        if capture.inverted[0] != capture.inverted[1] {
            found.push(format!("the {side} channel is inverted against the other: mono listening cancels"));
            turns.push(format!(
                "check the {side} channel's balanced lead or head wires for exchanged conductors"
            ));
        }
        let channel = if capture.channels_swapped { Channel::Both } else { side };
        (Verdict::Outside, channel, found.join("; "), Some(turns.join("; then ")))
    } else if told {
        let apart = difference_db
            .map(|db| {
                format!("; level tone left minus right {}", UnitKind::Db.of(db, uncertainty_db).signed())
            })
            .unwrap_or_default();
        let note =
            if capture.inverted == [true, true] { "; both are inverted, which does no harm" } else { "" };
        (
            Verdict::Within,
            Channel::Both,
            format!("left is left, right is right, of one polarity{note}{apart}"),
            None,
        )
    } else {
        (Verdict::CannotTell, Channel::Both, no_slate().why(), None)
    };
    let steps: Vec<_> =
        turn.into_iter().map(|text: String| step(Adjustment::Wiring, text).on(channel)).collect();
    Finding {
        id: "wiring".to_owned(),
        kind: None,
        channel: Some(channel),
        value: None,
        uncertainty: None,
        uncertainty_parts: vec![],
        unit: Unit::Db,
        reads: Some(why.split(';').next().unwrap_or_default().to_owned()),
        place: None,
        at_hz: None,
        allowed: None,
        limit: Some("both channels there, not exchanged, of one polarity".to_owned()),
        untold: (verdict == Verdict::CannotTell).then(no_slate),
        in_programme: Some(true),
        verdict,
        basis: "absolute: against the programme".to_owned(),
        why,
        turn: said(&steps, false),
        steps,
        rests_on: vec![],
        remedies: vec![],
    }
}

fn no_slate() -> Untold {
    Untold::new("no slate says which channel is which", "record a programme with slates")
}

#[cfg(test)]
mod tests {
    use crate::judge::sample;
    use crate::reading::{Channel, Verdict};

    #[test]
    fn each_wiring_fault_is_named() {
        let healthy = sample::healthy();
        assert_eq!(healthy.finding("wiring").verdict, Verdict::Within);

        let mut swapped = healthy.clone();
        swapped.capture.channels_swapped = true;
        assert!(swapped.finding("wiring").turn.unwrap().contains("exchange the left and right plugs"));

        let mut inverted = healthy.clone();
        inverted.capture.inverted = [false, true];
        let got = inverted.finding("wiring");
        assert_eq!((got.verdict, got.channel), (Verdict::Outside, Some(Channel::Right)));
        inverted.capture.inverted = [true, true];
        assert_eq!(inverted.finding("wiring").verdict, Verdict::Within);

        let mut mono = healthy.clone();
        mono.capture.mono = true;
        assert!(mono.finding("wiring").why.starts_with("mono"));
    }

    #[test]
    fn thirty_decibels_below_is_dead_and_nothing_else_of_that_channel_is_judged() {
        let mut reading = sample::healthy();
        for level in &mut reading.level {
            level.return_dbfs[1] = level.return_dbfs[0].map(|db| db - 31.0);
            level.gain_db[1] = level.gain_db[0].map(|db| db - 31.0);
            level.difference_db = Some(31.0);
        }
        let got = reading.finding("wiring");
        assert_eq!((got.verdict, got.channel), (Verdict::Outside, Some(Channel::Right)));
        for finding in reading.judged() {
            if ["azimuth", "channel-match"].contains(&finding.id.as_str())
                || (finding.id == "playback-response" && finding.channel == Some(Channel::Right))
            {
                assert_eq!(finding.verdict, Verdict::CannotTell, "{finding:?}");
            }
        }
        reading.level[0].return_dbfs[1] = Some(reading.level[0].return_dbfs[0].unwrap() - 29.0);
        assert_eq!(reading.finding("wiring").verdict, Verdict::Within);
        reading.level[0].return_dbfs[1] = None;
        assert_eq!(reading.finding("wiring").channel, Some(Channel::Right));
    }
}
