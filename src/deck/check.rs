//! Whether a deck file makes sense, and where in its text it does not.

use super::keys::{Checked, Range, Value};
use super::{DeckError, DeckFile};
use crate::harmless::{echo, echoes};

/// The error for a text that serde refused.
pub(crate) fn malformed(text: &str, file_name: &str, source: toml::de::Error) -> DeckError {
    let before = source.span().and_then(|span| text.get(..span.start));
    let place = match before {
        Some(before) => format!("{file_name}, line {}", before.matches('\n').count() + 1),
        None => file_name.to_owned(),
    };
    let key = before.and_then(|before| text[before.rfind('\n').map_or(0, |at| at + 1)..].lines().next());
    let message = echoes(source.message());
    let found = match key.map(str::trim) {
        Some(line) if !line.is_empty() => format!("`{}`: {message}", echo(line)),
        _ => message,
    };
    let remedy = if found.contains("unknown field") || found.contains("unknown variant") {
        "use one of the words it lists, or delete the line".to_owned()
    } else {
        "correct that line; a number needs no quotes, a pair is [left, right]".to_owned()
    };
    DeckError::Malformed { place, found, remedy }
}

/// Checks every number of `file`, then what contradicts what; `text` is searched for the line of the first that is wrong.
pub(crate) fn ranges(file: &DeckFile, file_name: &str, text: Option<&str>) -> Checked {
    let check = Check { file_name, text };
    Value::check(file, "", None, &check)?;
    check.bands(file)?;
    check.sums(file)?;
    check.injection(file)
}

pub(crate) struct Check<'a> {
    file_name: &'a str,
    text: Option<&'a str>,
}

impl Check<'_> {
    /// Checks what stands behind `key` of the table at `path`.
    pub(super) fn value(&self, path: &str, key: &str, value: &impl Value, range: Range) -> Checked {
        let path = if path.is_empty() { key.to_owned() } else { format!("{path}.{key}") };
        value.check(&path, range, self)
    }

    pub(super) fn range(&self, key: &str, value: f64, low: f64, high: f64) -> Checked {
        if value >= low && value <= high {
            return Ok(());
        }
        Err(DeckError::OutOfRange { place: self.place(key), key: key.to_owned(), value, low, high })
    }

    fn place(&self, key: &str) -> String {
        match self.text.and_then(|text| line_of(text, key)) {
            Some(line) => format!("{}, line {line}", self.file_name),
            None => self.file_name.to_owned(),
        }
    }

    /// The error that what stands behind `key` is `wrong`, if it is.
    fn contradiction(&self, wrong: bool, key: &str, found: &str, remedy: &str) -> Checked {
        if !wrong {
            return Ok(());
        }
        Err(DeckError::Contradiction {
            place: self.place(key),
            key: key.to_owned(),
            found: found.to_owned(),
            remedy: remedy.to_owned(),
        })
    }

    /// What ends must lie behind what begins.
    fn bands(&self, file: &DeckFile) -> Checked {
        let flutter = file.speed.random.map(|random| ("speed.random", random.low_hz, random.high_hz));
        let azimuth = file.azimuth.random_wander;
        let azimuth = azimuth.map(|random| ("azimuth.random_wander", random.low_hz, random.high_hz));
        let level = file.tape.level_wander;
        let level = level.map(|wander| ("tape.level_wander", wander.low_hz, wander.high_hz));
        for (key, low_hz, high_hz) in flutter.into_iter().chain(azimuth).chain(level) {
            let key = format!("{key}.high_hz");
            // Narrower than this, the random curve has too few lines to be random.
            let remedy = "make it at least 1.2 times `low_hz`";
            self.contradiction(high_hz < 1.2 * low_hz, &key, "is not clearly above `low_hz`", remedy)?;
        }
        file.tape.erased.iter().try_for_each(|erased| {
            let (found, remedy) = ("is not above `from_s`", "make it larger than `from_s`");
            self.contradiction(erased.to_s <= erased.from_s, "tape.erased.to_s", found, remedy)
        })
    }

    /// What may be there many times, but not more often or more strongly than so.
    fn sums(&self, file: &DeckFile) -> Checked {
        let sum: f64 = file.speed.flutter.iter().map(|line| line.percent_peak).sum();
        let remedy = "lower the peaks; their sum may be 10 percent";
        self.contradiction(sum > 10.0, "speed.flutter", &format!("adds up to {sum} percent"), remedy)?;
        let harmonics = |hum: &Option<super::Hum>| hum.as_ref().map_or(0, |hum| hum.harmonics_db.len());
        let steps = file.technician.steps.as_ref();
        for (key, count, most) in [
            ("tape.hum.harmonics_db", harmonics(&file.tape.hum), 20),
            ("electronics.hum.harmonics_db", harmonics(&file.electronics.hum), 20),
            ("technician.steps.record_db", steps.map_or(0, |steps| steps.record_db.len()), 200),
            ("technician.steps.bias_db", steps.map_or(0, |steps| steps.bias_db.len()), 200),
        ] {
            let remedy = format!("give at most {most}");
            self.contradiction(count > most, key, &format!("has {count} entries"), &remedy)?;
        }
        Ok(())
    }

    fn injection(&self, file: &DeckFile) -> Checked {
        let tape = super::Tape::default() != file.tape || super::Speed::default() != file.speed;
        let moves = tape || file.azimuth != super::Azimuth::default();
        let remedy = "no tape moves in an injection: take [tape], [speed] and [azimuth] out";
        let fed = file.injection.is_some();
        self.contradiction(fed && moves, "injection", "stands beside a tape", remedy)?;
        let turned = |turn: &super::Turn| turn.azimuth_arcmin.or(turn.speed_percent).is_some();
        let remedy = "no tape moves in an injection: take azimuth_arcmin and speed_percent out of the turns";
        let found = "stands beside a turn of screw or motor";
        self.contradiction(fed && file.technician.turns.iter().any(turned), "injection", found, remedy)
    }
}

/// First line on which the key with this path may stand: under its table's header, or inline behind its parent.
fn line_of(text: &str, path: &str) -> Option<usize> {
    let mut table = String::new();
    for (number, line) in text.lines().enumerate() {
        let line = line.trim();
        if let Some(header) = line.strip_prefix('[').filter(|_| !line.contains('=')) {
            table = header.trim_start_matches('[').split(']').next().unwrap_or("").trim().to_owned();
            continue;
        }
        let Some((name, rest)) = line.split_once('=') else { continue };
        let full = if table.is_empty() { name.trim().to_owned() } else { format!("{table}.{}", name.trim()) };
        let leaf = path.rsplit('.').next().unwrap_or(path);
        let inline = path.starts_with(&format!("{full}.")) && rest.contains(leaf);
        if full == path || inline {
            return Some(number + 1);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::super::Sides;
    use super::*;

    #[test]
    fn an_empty_file_is_a_deck_without_faults() {
        assert_eq!(DeckFile::from_toml("", "x.toml").unwrap(), DeckFile::default());
    }

    #[test]
    fn says_file_line_key_range_and_remedy() {
        let text = "about = 'invented'\n[speed]\nerror_percent = 30\n";
        let message = DeckFile::from_toml(text, "bench.toml").unwrap_err().to_string();
        assert_eq!(
            message,
            "bench.toml, line 3: `speed.error_percent` is 30, allowed is -20 to 20; put it in the range or leave it out"
        );
    }

    #[test]
    fn finds_the_line_of_an_inline_table() {
        let text = "[speed]\n\nflutter = [{ hz = 3.0, percent_peak = 11 }]\n";
        let message = DeckFile::from_toml(text, "a").unwrap_err().to_string();
        assert!(message.starts_with("a, line 3: `speed.flutter.percent_peak` is 11"), "{message}");
        let text = "[[playback.sections]]\nkind = 'peaking'\nhz = 100\ndb = 99\nq = 1\n";
        let message = DeckFile::from_toml(text, "a").unwrap_err().to_string();
        assert!(message.starts_with("a, line 4: `playback.sections.db` is 99"), "{message}");
    }

    #[test]
    fn an_unknown_key_is_refused_with_its_line() {
        let message = DeckFile::from_toml("[head]\nspacing = 1\n", "a.toml").unwrap_err().to_string();
        assert!(message.starts_with("a.toml, line 2: `spacing = 1`: unknown field `spacing`"), "{message}");
        assert!(message.contains("spacing_um") && message.ends_with("or delete the line"), "{message}");
    }

    #[test]
    fn not_a_number_and_infinity_are_refused() {
        for bad in ["nan", "inf", "-inf"] {
            for key in ["[capture]\ntrim_db", "[head]\ngap_um", "[electronics]\nnoise_db"] {
                let error = DeckFile::from_toml(&format!("{key} = {bad}"), "a").unwrap_err();
                assert!(matches!(error, DeckError::OutOfRange { .. }), "{key} {bad}: {error}");
            }
        }
    }

    #[test]
    fn a_pair_is_one_number_or_two() {
        let gap = |value: &str| {
            DeckFile::from_toml(&format!("[head]\ngap_um = {value}"), "a").map(|f| f.head.gap_um)
        };
        assert_eq!(gap("2").unwrap(), Sides::both(2.0));
        assert_eq!(gap("[1, 2.5]").unwrap(), Sides { left: 1.0, right: 2.5 });
        assert!(gap("[1]").is_err() && gap("[1, 2, 3]").is_err() && gap("'x'").is_err());
    }

    #[test]
    fn what_was_written_reads_back() {
        for (name, text) in super::super::EXAMPLES {
            let file = DeckFile::from_toml(text, name).unwrap_or_else(|error| panic!("{error}"));
            let again = toml::to_string(&file).unwrap();
            assert_eq!(DeckFile::from_toml(&again, name).unwrap(), file, "{name}");
            assert!(file.about.contains("invented"), "{name} does not say that it is invented");
        }
    }
}
