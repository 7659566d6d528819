//! What is settled, and what could not be judged.
//!
//! Why a finding cannot be told, and what to do for it, is data (`Untold`), never cut out of a sentence. Whether the programme holds
//! something for it follows from `served_by` of its row in `QUANTITIES` and from `recipe.serves`.

use crate::judge::work::turns::name;
use crate::reading::{Finding, NotJudged, Settled, Verdict};

/// What was judged and is inside its limit now, in the order of work.
pub(crate) fn settled(findings: &[Finding]) -> Vec<Settled> {
    let right = |finding: &&Finding| matches!(finding.verdict, Verdict::Within | Verdict::Marginal);
    let settled = |finding: &Finding| Settled {
        finding: name(finding),
        verdict: finding.verdict,
        value: finding.value,
        uncertainty: finding.uncertainty,
        unit: finding.unit,
    };
    findings.iter().filter(right).map(settled).collect()
}

/// What could not be judged, once for each way to find out; what the programme holds something for comes first.
pub(crate) fn not_judged(findings: &[Finding]) -> Vec<NotJudged> {
    let mut groups: Vec<NotJudged> = Vec::new();
    for finding in findings {
        let Some(untold) = &finding.untold else { continue };
        let same = groups.iter_mut().find(|group| {
            group.in_programme == finding.in_programme
                && group.untold.find_out == untold.find_out
                && group.remedies == finding.remedies
        });
        match same {
            Some(group) => {
                group.findings.push(name(finding));
                if !group.untold.because.contains(&untold.because) {
                    group.untold.because += &format!("; {}", untold.because);
                }
            }
            None => groups.push(NotJudged {
                findings: vec![name(finding)],
                untold: untold.clone(),
                in_programme: finding.in_programme,
                remedies: finding.remedies.clone(),
            }),
        }
    }
    groups.sort_by_key(|group| group.in_programme == Some(false));
    groups
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::sample;

    #[test]
    fn every_finding_stands_in_one_list() {
        for reading in [sample::healthy(), sample::faulty(), sample::empty()] {
            let findings = reading.judged();
            let (right, open) = (settled(&findings), not_judged(&findings));
            let outside = findings.iter().filter(|finding| finding.verdict == Verdict::Outside).count();
            let listed = right.len() + open.iter().map(|group| group.findings.len()).sum::<usize>();
            assert_eq!(outside + listed, findings.len());
            for (k, group) in open.iter().enumerate() {
                assert!(!group.untold.because.is_empty() && !group.untold.find_out.is_empty(), "{group:?}");
                assert!(open[k + 1..].iter().all(|other| other.untold != group.untold), "{open:?}");
            }
        }
    }
}
