//! The one way from what was measured to what follows from it.

use crate::judge::Limits;
use crate::judge::causes::causes;
use crate::judge::meaning::meanings;
use crate::judge::order::judge;
use crate::judge::output::output;
use crate::judge::work::lists::{not_judged, settled};
use crate::judge::work::turns::work;
use crate::measure::{self, TransportNumbers, line_parts};
use crate::reading::{Cause, Facts, Finding, NotJudged, QuantityMeaning, Settled, Unexplained, WorkStep};
use crate::trade::Medium;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::ops::Deref;

/// A reading: facts, and what follows from them. It can be read like its fields, and not be changed: who has other facts
/// concludes anew. Only the feature of the tests lets readings be made up, and `.ci/run` builds the library without it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(transparent)]
pub struct Reading(Concluded);

/// Facts and what follows from them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[schemars(rename = "Reading")]
pub struct Concluded {
    /// What was captured and measured.
    #[serde(flatten)]
    pub facts: Facts,
    /// What makes the response as it is, one row a cause and channel; empty where a response tells nothing.
    #[serde(default)]
    pub causes: Vec<Cause>,
    /// What the causes leave of the response, one row a channel.
    #[serde(default)]
    pub unexplained: Vec<Unexplained>,
    /// Judged quantities, in the order of work.
    pub findings: Vec<Finding>,
    /// What is to be done, in the order of work; empty where nothing is outside its limit.
    #[serde(default)]
    pub work: Vec<WorkStep>,
    /// What was judged and is right now, in the order of work.
    #[serde(default)]
    pub settled: Vec<Settled>,
    /// What could not be judged, and what it takes.
    #[serde(default)]
    pub not_judged: Vec<NotJudged>,
    /// What each quantity can mean under the circumstances, measured or not.
    #[serde(default)]
    pub meanings: Vec<QuantityMeaning>,
}

impl Deref for Reading {
    type Target = Concluded;

    fn deref(&self) -> &Concluded {
        &self.0
    }
}

impl Deref for Concluded {
    type Target = Facts;

    fn deref(&self) -> &Facts {
        &self.facts
    }
}

impl Reading {
    /// The facts alone, to be corrected and concluded from anew.
    pub fn into_facts(self) -> Facts {
        self.0.facts
    }

    /// A return in which nothing was measured: nothing follows.
    pub(crate) fn unmeasured(facts: Facts) -> Self {
        let meanings = meanings(&facts.circumstances);
        Self(Concluded {
            facts,
            causes: vec![],
            unexplained: vec![],
            findings: vec![],
            work: vec![],
            settled: vec![],
            not_judged: vec![],
            meanings,
        })
    }
}

/// What `facts` mean: causes of the response, parts of the transport behind flutter lines, findings by `limits`, and what
/// is to be done. `transport` are the technician's numbers of the deck; without them usual ranges are taken.
pub fn conclude(
    mut facts: Facts,
    medium: &Medium,
    limits: &Limits,
    transport: Option<&TransportNumbers>,
) -> Reading {
    let (found, unexplained) = measure::causes(&facts, medium);
    let causes = causes(&facts, found, &unexplained);
    let parts = line_parts(&facts, medium, transport);
    let lines = facts.flutter.iter_mut().flat_map(|flutter| &mut flutter.lines);
    for (line, part) in lines.zip(parts) {
        (line.harmonic, line.could_be) =
            (part.as_ref().map(|part| part.harmonic), part.as_ref().is_some_and(|part| part.could_be));
        line.part = part.map(|part| part.name);
    }
    follow(facts, causes, unexplained, limits)
}

/// Findings and work from facts whose causes are told.
pub(crate) fn follow(
    mut facts: Facts,
    causes: Vec<Cause>,
    unexplained: Vec<Unexplained>,
    limits: &Limits,
) -> Reading {
    facts.output = output(&facts, limits);
    let findings = judge(&facts, &causes, limits);
    let (work, settled, not_judged) = (work(&findings), settled(&findings), not_judged(&findings));
    let meanings = meanings(&facts.circumstances);
    Reading(Concluded { facts, causes, unexplained, findings, work, settled, not_judged, meanings })
}

/// Tests make up readings.
#[cfg(feature = "internals")]
mod made_up {
    use super::{Concluded, Reading};
    use crate::reading::Facts;
    use std::ops::DerefMut;

    impl DerefMut for Reading {
        fn deref_mut(&mut self) -> &mut Concluded {
            &mut self.0
        }
    }

    impl DerefMut for Concluded {
        fn deref_mut(&mut self) -> &mut Facts {
            &mut self.facts
        }
    }
}
