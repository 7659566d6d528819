//! Azimuth by ordinary music as part of a job: as found, as left, and what changed.

use crate::reading::figures::UnitKind;
use crate::reading::{JobState, SkewReading, SkewTape, SkewVerdict};
use crate::trade::student::{coverage_factor, mean_and_deviation};

/// A result of `skew` that belongs to the job.
#[derive(Debug, Clone, Copy)]
pub struct JobSkew<'a> {
    /// Before or after the work.
    pub state: JobState,
    /// Its file, relative to the job's folder.
    pub file: &'a str,
    /// What music says.
    pub skew: &'a SkewReading,
}

/// Azimuth by music on the sheet.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct MusicAzimuth {
    /// State, file and result of each in words; as found before as left.
    pub rows: Vec<(JobState, String, String)>,
    /// What changed from the first as found to the last as left, in words.
    pub change: Option<String>,
    /// What to turn by the last of them.
    pub turn: Option<String>,
}

/// What the sheet says of azimuth by music; `None` if nothing was attached.
pub(crate) fn music_azimuth(skews: &[JobSkew<'_>]) -> Option<MusicAzimuth> {
    let found = skews.iter().find(|skew| skew.state == JobState::AsFound);
    let left = skews.iter().rev().find(|skew| skew.state == JobState::AsLeft);
    let rows = [found, left]
        .into_iter()
        .flatten()
        .map(|skew| (skew.state, skew.file.to_owned(), result(skew.skew)))
        .collect();
    let last = left.or(found)?;
    Some(MusicAzimuth {
        rows,
        change: found.zip(left).map(|(found, left)| change(found.skew, left.skew)),
        turn: last.skew.consensus.turn.clone(),
    })
}

/// Delay and angle in words.
pub(crate) fn result(skew: &SkewReading) -> String {
    let all = &skew.consensus;
    let (Some(us), Some(uncertainty)) = (all.delay_us, all.uncertainty_us) else {
        return format!("no usable tape of {}", skew.tapes.len());
    };
    let angle = all.angle_arcmin.zip(all.angle_uncertainty_arcmin).map(|(angle, uncertainty)| {
        format!(", {}", UnitKind::ArcMinutes.of(angle, uncertainty).signed().full())
    });
    let tapes = if all.tapes == 1 { "tape" } else { "tapes" };
    format!(
        "{}{} by {} {tapes}",
        UnitKind::Microseconds.of(us, uncertainty).signed().full(),
        angle.unwrap_or_default(),
        all.tapes
    )
}

/// Name of a recording without its folders.
fn name(tape: &SkewTape) -> &str {
    tape.file.rsplit(['/', '\\']).next().unwrap_or(&tape.file)
}

/// Change of the delay. What a tape's recorder and its production put in is the same both times: where recordings of one name
/// are in both, only what differs from playing to playing counts.
fn change(found: &SkewReading, left: &SkewReading) -> String {
    let usable = |tape: &&SkewTape| tape.verdict == SkewVerdict::Usable;
    let pairs: Vec<(f64, f64)> = found
        .tapes
        .iter()
        .filter(usable)
        .filter_map(|before| {
            let after = left.tapes.iter().filter(usable).find(|after| name(after) == name(before))?;
            let uncertainty = before.common_uncertainty_us?.hypot(after.common_uncertainty_us?);
            Some((after.delay_us? - before.delay_us?, uncertainty))
        })
        .collect();
    if !pairs.is_empty() {
        let n = pairs.len() as f64;
        let (mean, deviation) = mean_and_deviation(&pairs.iter().map(|pair| pair.0).collect::<Vec<_>>());
        let own = pairs.iter().map(|pair| pair.1 * pair.1).sum::<f64>().sqrt() / n;
        let scatter = if pairs.len() < 2 { 0.0 } else { coverage_factor(pairs.len()) * deviation / n.sqrt() };
        let tapes = if pairs.len() == 1 { "tape" } else { "tapes" };
        return said(
            mean,
            own.max(scatter),
            &format!("by the same {} {tapes} before and after", pairs.len()),
        );
    }
    let (before, after) = (&found.consensus, &left.consensus);
    match (before.delay_us, after.delay_us, before.uncertainty_us, after.uncertainty_us) {
        (Some(before), Some(after), Some(a), Some(b)) => said(
            after - before,
            a.hypot(b),
            "by other tapes: play the same ones before and after to know it closer",
        ),
        _ => "cannot tell: no usable tape before or after".to_owned(),
    }
}

fn said(by: f64, uncertainty: f64, how: &str) -> String {
    let verdict = if by.abs() > uncertainty { "changed" } else { "no change shown" };
    format!("{}: {verdict}, {how}", UnitKind::Microseconds.of(by, uncertainty).signed().full())
}

#[cfg(test)]
pub(crate) mod tests {
    use super::*;
    use crate::judge::judge_skew;
    use crate::reading::{SKEW_FORMAT, SkewConsensus, SkewContent};

    /// Tapes of these names and delays, each known to 0.5 us as it lies on the tape and to 16 us with its production.
    pub(crate) fn skew(tapes: &[(&str, f64)], uncertainty_us: f64) -> SkewReading {
        let tape = |(file, delay_us): &(&str, f64)| SkewTape {
            file: (*file).to_owned(),
            rate_hz: 48_000.0,
            duration_s: 60.0,
            delay_us: Some(*delay_us),
            uncertainty_us: Some(16.0),
            angle_arcmin: Some(0.182 * delay_us),
            verdict: SkewVerdict::Usable,
            angle_uncertainty_arcmin: Some(3.0),
            common_uncertainty_us: Some(0.5),
            content: SkewContent::PartlyCommon,
            agreeing_percent: Some(90.0),
            opposed: false,
            wander_us_rms: None,
            along: Vec::new(),
            outlier: false,
            why: String::new(),
            warnings: Vec::new(),
        };
        let mean = tapes.iter().map(|tape| tape.1).sum::<f64>() / tapes.len() as f64;
        let mut reading = SkewReading {
            format: SKEW_FORMAT.to_owned(),
            made: None,
            tapes: tapes.iter().map(tape).collect(),
            consensus: SkewConsensus {
                delay_us: Some(mean),
                uncertainty_us: Some(uncertainty_us),
                angle_arcmin: Some(0.182 * mean),
                angle_uncertainty_arcmin: Some(0.182 * uncertainty_us),
                loss_at_10k_db: None,
                tapes: tapes.len() as u32,
                spread_us: None,
                recorders_us: 8.0,
                says: String::new(),
                turn: None,
            },
        };
        judge_skew(&mut reading);
        reading
    }

    #[test]
    fn the_same_tapes_show_a_change_that_the_consensus_alone_would_hide() {
        let found = skew(&[("music-1/a.wav", 25.0), ("music-1/b.wav", 11.0)], 16.0);
        let left = skew(&[("music-2/a.wav", 8.0), ("music-2/b.wav", -6.2)], 16.0);
        // Differences -17.0 and -17.2: mean -17.1; their scatter 0.141 / sqrt 2 times 13.97 is 1.4.
        assert_eq!(change(&found, &left), "-17.1 +- 1.4 us: changed, by the same 2 tapes before and after");
        let other = skew(&[("music-2/c.wav", 1.0)], 16.0);
        // 1 - 18; 16 and 16 in quadrature are 22.6.
        assert!(change(&found, &other).starts_with("-17 +- 23 us: no change shown, by other tapes"));
    }
}
