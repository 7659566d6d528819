//! What is to be done, in the order of work, as lines for text and report alike.

use super::words;
use crate::judge::Reading;
use crate::reading::{Finding, Verdict};

/// One step as it is printed.
pub(super) struct Line {
    /// Place in the order.
    pub number: u32,
    /// What to do.
    pub text: String,
    /// Which findings ask for it, and what comes before it.
    pub because: String,
}

/// The steps; empty where nothing is outside its limit.
pub(super) fn lines(reading: &Reading) -> Vec<Line> {
    reading
        .work
        .iter()
        .map(|work| {
            let mut because = work.findings.join("; ");
            if !work.after.is_empty() {
                let numbers: Vec<String> = work.after.iter().map(u32::to_string).collect();
                because += &format!("; after {}", numbers.join(", "));
            }
            Line { number: work.number, text: words::sentence(&work.step.text), because }
        })
        .collect()
}

/// What goes with the steps, or stands instead of them.
pub(super) fn note(reading: &Reading) -> &'static str {
    let any = |is: fn(&Finding) -> bool| reading.findings.iter().any(is);
    if !reading.work.is_empty() {
        let capture = any(|finding| finding.id == "capture" && finding.verdict == Verdict::Outside);
        return if capture {
            "Then read the new return: on this one nothing else is to be turned."
        } else if reading.work.iter().any(|work| !work.after.is_empty()) {
            "After each step that a later one names, record and read again: what is left may be gone."
        } else {
            "Then record and read again."
        };
    }
    if any(|finding| finding.verdict == Verdict::Outside) {
        "Nothing is to be turned for what is outside: see the findings."
    } else if any(|finding| matches!(finding.verdict, Verdict::Within | Verdict::Marginal)) {
        "Nothing: no finding is outside its limit."
    } else {
        "Nothing can be said: nothing was judged. Each finding says how to find out."
    }
}
