//! The level tone's millivolts of a job, tied to the return that was recorded while they were read.
//!
//! Full scale of a sound card is where its user put it, so a level in dBFS says nothing of the deck. One pair ties the
//! two: the level tone's millivolts at the output, and its level in the return that was recorded meanwhile. Millivolts
//! without their return would make every return read alike, however its trimmers stood; therefore a job names the
//! return, and the level comes from it or from its attached reading.

use super::JobFile;
use crate::judge::{HandRow, Reading, ToneAtOutput, ToneInReturn, judge_by_hand};
use crate::reading::{HandReadings, level_tone};
use std::path::Path;

/// What a job says of the level tone at the output.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct JobLevelTone {
    /// `[left, right]`.
    pub tones: [Option<ToneAtOutput>; 2],
    /// What was taken, in words, each once.
    pub taken: Vec<String>,
    /// Returns that millivolts belong to and whose reading is not attached, each once.
    pub missing: Vec<String>,
}

impl JobFile {
    /// The level tone at the output, for a reading of `file`: read while that very return was recorded, or while another one
    /// was whose reading is attached. Of several the return's own go first, then the newer.
    pub fn level_tone(&self, file: &Path) -> JobLevelTone {
        let mut found = JobLevelTone::default();
        let rows: Vec<HandRow> = judge_by_hand(&self.sheet);
        let names = ["level-tone-left", "level-tone-right"];
        let is_told = |readings: &HandReadings| {
            readings.values.iter().any(|value| names.contains(&value.quantity.as_str()))
        };
        if !is_told(&self.sheet.as_left) && !is_told(&self.sheet.as_found) {
            return found;
        }
        let readings = self.attached().readings;
        for (side, name) in names.into_iter().enumerate() {
            let Some(row) = rows.iter().find(|row| row.id == name) else { continue };
            let states = [(&self.sheet.as_left, &row.as_left), (&self.sheet.as_found, &row.as_found)];
            let read: Vec<_> = states
                .into_iter()
                .filter_map(|(state, judged)| {
                    let value = state.values.iter().find(|value| value.quantity == name)?;
                    Some((value.of.as_deref()?, judged.as_ref()?))
                })
                .collect();
            let own = read.iter().find(|(of, _)| self.is_return(of, file));
            let own = own.map(|(of, judged)| (*of, *judged, ToneInReturn::This));
            let other = || {
                read.iter().find_map(|(of, judged)| {
                    let attached = readings.iter().rev().find(|there| is_named(&there.2, of))?;
                    Some((*of, *judged, in_reading(&attached.2, side)?))
                })
            };
            match own.or_else(other) {
                Some((of, judged, at)) => {
                    add(&mut found.taken, format!("{}, read while {of} was recorded", row.words));
                    found.tones[side] = Some(ToneAtOutput {
                        mv: judged.value,
                        uncertainty_mv: judged.uncertainty,
                        gauge: judged.gauge.clone(),
                        at,
                    });
                }
                None => read.iter().for_each(|(of, _)| add(&mut found.missing, (*of).to_owned())),
            }
        }
        found
    }

    /// Whether `file` is the return that the job calls `of`.
    fn is_return(&self, of: &str, file: &Path) -> bool {
        match (self.folder().join(of).canonicalize(), file.canonicalize()) {
            (Ok(of), Ok(file)) => of == file,
            _ => Path::new(of).file_name() == file.file_name(),
        }
    }
}

fn add(list: &mut Vec<String>, words: String) {
    if !list.contains(&words) {
        list.push(words);
    }
}

/// Whether `reading` is of the return that the job calls `of`: paths are as whoever read it stood, so the name decides.
fn is_named(reading: &Reading, of: &str) -> bool {
    let name = Path::new(of).file_name();
    name.is_some() && Path::new(&reading.capture.file).file_name() == name
}

fn in_reading(reading: &Reading, side: usize) -> Option<ToneInReturn> {
    let tone = level_tone(&reading.level)?;
    Some(ToneInReturn::Dbfs { dbfs: tone.return_dbfs[side]?, uncertainty_db: tone.uncertainty_db })
}
