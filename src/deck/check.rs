//! Whether a deck file makes sense, and where in its text it does not.

use super::{DeckError, DeckFile, Section, Sides};

/// The error for a text that serde refused.
pub(crate) fn malformed(text: &str, file_name: &str, source: toml::de::Error) -> DeckError {
    let before = source.span().and_then(|span| text.get(..span.start));
    let place = match before {
        Some(before) => format!("{file_name}, line {}", before.matches('\n').count() + 1),
        None => file_name.to_owned(),
    };
    let key = before.and_then(|before| text[before.rfind('\n').map_or(0, |at| at + 1)..].lines().next());
    let message = source.message().trim().replace('\n', ", ");
    let found = match key.map(str::trim) {
        Some(line) if !line.is_empty() => format!("`{line}`: {message}"),
        _ => message,
    };
    let remedy = if found.contains("unknown field") || found.contains("unknown variant") {
        "use one of the words it lists, or delete the line".to_owned()
    } else {
        "correct that line; a number needs no quotes, a pair is [left, right]".to_owned()
    };
    DeckError::Malformed { place, found, remedy, source: Box::new(source) }
}

/// Checks every number of `file`; `text` is searched for the line of the first that is wrong.
pub(crate) fn ranges(file: &DeckFile, file_name: &str, text: Option<&str>) -> Result<(), DeckError> {
    let mut check = Check { file_name, text };
    check.one("reference_dbfs", file.reference_dbfs, -40.0, 0.0)?;
    check.speed(file)?;
    check.azimuth(file)?;
    check.head(file)?;
    check.path("record", &file.record)?;
    check.path("playback", &file.playback)?;
    check.tape(file)?;
    check.electronics(file)?;
    check.injection(file)?;
    check.technician(file)?;
    check.capture(file)
}

struct Check<'a> {
    file_name: &'a str,
    text: Option<&'a str>,
}

impl Check<'_> {
    fn one(&mut self, key: &str, value: f64, low: f64, high: f64) -> Result<(), DeckError> {
        if value >= low && value <= high {
            return Ok(());
        }
        Err(DeckError::OutOfRange { place: self.place(key), key: key.to_owned(), value, low, high })
    }

    fn both(&mut self, key: &str, sides: Sides, low: f64, high: f64) -> Result<(), DeckError> {
        self.one(key, sides.left, low, high)?;
        self.one(key, sides.right, low, high)
    }

    fn place(&self, key: &str) -> String {
        match self.text.and_then(|text| line_of(text, key)) {
            Some(line) => format!("{}, line {line}", self.file_name),
            None => self.file_name.to_owned(),
        }
    }

    fn contradiction(&self, key: &str, found: &str, remedy: &str) -> Result<(), DeckError> {
        Err(DeckError::Contradiction {
            place: self.place(key),
            key: key.to_owned(),
            found: found.to_owned(),
            remedy: remedy.to_owned(),
        })
    }

    fn band(&mut self, key: &str, low_hz: f64, high_hz: f64, ends: [f64; 3]) -> Result<(), DeckError> {
        self.one(&format!("{key}.low_hz"), low_hz, ends[0], ends[1])?;
        self.one(&format!("{key}.high_hz"), high_hz, ends[0], ends[2])?;
        // Narrower than this, the random curve has too few lines to be random.
        if high_hz < 1.2 * low_hz {
            let key = format!("{key}.high_hz");
            return self.contradiction(
                &key,
                "is not clearly above `low_hz`",
                "make it at least 1.2 times `low_hz`",
            );
        }
        Ok(())
    }

    fn speed(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let speed = &file.speed;
        self.one("speed.error_percent", speed.error_percent, -20.0, 20.0)?;
        self.one("speed.drift_percent_per_min", speed.drift_percent_per_min, -5.0, 5.0)?;
        let mut sum = 0.0;
        for line in &speed.flutter {
            self.one("speed.flutter.hz", line.hz, 0.02, 500.0)?;
            self.one("speed.flutter.percent_peak", line.percent_peak, 0.0, 10.0)?;
            self.one("speed.flutter.phase_deg", line.phase_deg, -3600.0, 3600.0)?;
            self.one("speed.flutter.drift_hz_per_min", line.drift_hz_per_min, -10.0, 10.0)?;
            sum += line.percent_peak;
        }
        if sum > 10.0 {
            let remedy = "lower the peaks; their sum may be 10 percent";
            return self.contradiction("speed.flutter", &format!("adds up to {sum} percent"), remedy);
        }
        if let Some(random) = speed.random {
            self.one("speed.random.percent_rms", random.percent_rms, 0.0, 3.0)?;
            self.band("speed.random", random.low_hz, random.high_hz, [0.05, 400.0, 500.0])?;
        }
        Ok(())
    }

    fn azimuth(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let azimuth = &file.azimuth;
        self.one("azimuth.angle_arcmin", azimuth.angle_arcmin, -60.0, 60.0)?;
        if let Some(wander) = azimuth.wander {
            self.one("azimuth.wander.hz", wander.hz, 0.02, 100.0)?;
            self.one("azimuth.wander.arcmin_peak", wander.arcmin_peak, 0.0, 20.0)?;
        }
        if let Some(random) = azimuth.random_wander {
            self.one("azimuth.random_wander.arcmin_rms", random.arcmin_rms, 0.0, 10.0)?;
            self.band("azimuth.random_wander", random.low_hz, random.high_hz, [0.05, 50.0, 100.0])?;
        }
        Ok(())
    }

    fn head(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let head = &file.head;
        self.both("head.spacing_um", head.spacing_um, 0.0, 20.0)?;
        self.both("head.gap_um", head.gap_um, 0.0, 6.0)?;
        self.both("head.coupling_hz", head.coupling_hz, 0.0, 500.0)?;
        self.both("head.dull_8k_db", head.dull_8k_db, 0.0, 30.0)?;
        if let Some(sound) = head.made_up_for {
            self.one("head.made_up_for.spacing_um", sound.spacing_um, 0.0, 2.0)?;
            self.one("head.made_up_for.gap_um", sound.gap_um, 0.0, 3.0)?;
        }
        if let Some(bump) = head.bump {
            self.one("head.bump.hz", bump.hz, 5.0, 20_000.0)?;
            self.one("head.bump.db", bump.db, -30.0, 30.0)?;
            self.one("head.bump.q", bump.q, 0.1, 30.0)?;
        }
        Ok(())
    }

    fn path(&mut self, name: &str, path: &super::Path) -> Result<(), DeckError> {
        self.both(&format!("{name}.gain_db"), path.gain_db, -60.0, 40.0)?;
        let key = |leaf: &str| format!("{name}.sections.{leaf}");
        for section in &path.sections {
            match *section {
                Section::Shelf { zero_us, pole_us, .. } => {
                    self.one(&key("zero_us"), zero_us, 1.0, 10_000.0)?;
                    self.one(&key("pole_us"), pole_us, 1.0, 10_000.0)?;
                }
                Section::LowPass1 { hz, .. } => self.one(&key("hz"), hz, 100.0, 96_000.0)?,
                Section::LowPass2 { hz, q, .. } => {
                    self.one(&key("hz"), hz, 100.0, 96_000.0)?;
                    self.one(&key("q"), q, 0.1, 30.0)?;
                }
                Section::HighPass1 { hz, .. } => self.one(&key("hz"), hz, 0.5, 5000.0)?,
                Section::Peaking { hz, db, q, .. } => {
                    self.one(&key("hz"), hz, 5.0, 20_000.0)?;
                    self.one(&key("db"), db, -30.0, 30.0)?;
                    self.one(&key("q"), q, 0.1, 30.0)?;
                }
            }
        }
        Ok(())
    }

    fn tape(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let tape = &file.tape;
        if let Some(saturation) = tape.saturation {
            self.one("tape.saturation.k3_percent_at_0db", saturation.k3_percent_at_0db, 0.0, 10.0)?;
            self.one("tape.saturation.k2_percent_at_0db", saturation.k2_percent_at_0db, 0.0, 3.0)?;
            self.one("tape.saturation.treble_lift_db", saturation.treble_lift_db, 0.0, 20.0)?;
            self.one("tape.saturation.treble_from_hz", saturation.treble_from_hz, 500.0, 10_000.0)?;
            self.one("tape.saturation.self_erasing", saturation.self_erasing, 0.0, 1.0)?;
        }
        if let Some(hiss) = tape.hiss {
            self.both("tape.hiss.db", hiss.db, -120.0, 0.0)?;
        }
        if let Some(noise) = tape.modulation_noise {
            self.one("tape.modulation_noise.db", noise.db, -120.0, -20.0)?;
            self.one("tape.modulation_noise.reach_hz", noise.reach_hz, 1.0, 5000.0)?;
        }
        if let Some(print) = tape.print_through {
            self.one("tape.print_through.pre_db", print.pre_db, -120.0, -20.0)?;
            self.one("tape.print_through.post_db", print.post_db, -120.0, -20.0)?;
            self.one("tape.print_through.turn_s", print.turn_s, 0.1, 3.0)?;
        }
        for erased in &tape.erased {
            self.one("tape.erased.from_s", erased.from_s, 0.0, 100_000.0)?;
            self.one("tape.erased.to_s", erased.to_s, 0.0, 100_000.0)?;
            self.both("tape.erased.depth_db", erased.depth_db, 0.0, 120.0)?;
            if erased.to_s <= erased.from_s {
                let remedy = "make it larger than `from_s`";
                return self.contradiction("tape.erased.to_s", "is not above `from_s`", remedy);
            }
        }
        for dropout in &tape.dropouts {
            self.one("tape.dropouts.at_s", dropout.at_s, 0.0, 100_000.0)?;
            self.one("tape.dropouts.length_ms", dropout.length_ms, 0.5, 2000.0)?;
            self.one("tape.dropouts.depth_db", dropout.depth_db, 0.0, 80.0)?;
        }
        if let Some(random) = tape.random_dropouts {
            self.one("tape.random_dropouts.per_min", random.per_min, 0.0, 600.0)?;
            self.one("tape.random_dropouts.length_ms", random.length_ms, 1.0, 2000.0)?;
            self.one("tape.random_dropouts.depth_db", random.depth_db, 0.0, 80.0)?;
        }
        if let Some(modulation) = tape.amplitude_modulation {
            self.one("tape.amplitude_modulation.hz", modulation.hz, 0.02, 500.0)?;
            self.one("tape.amplitude_modulation.percent", modulation.percent, 0.0, 90.0)?;
        }
        self.hum("tape.hum", tape.hum.as_ref())?;
        if let Some(wander) = tape.level_wander {
            self.one("tape.level_wander.db_rms", wander.db_rms, 0.0, 3.0)?;
        }
        Ok(())
    }

    fn electronics(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let electronics = &file.electronics;
        for (key, db) in [
            ("electronics.left_into_right_db", electronics.left_into_right_db),
            ("electronics.right_into_left_db", electronics.right_into_left_db),
        ] {
            if let Some(db) = db {
                self.one(key, db, -120.0, 0.0)?;
            }
        }
        self.hum("electronics.hum", electronics.hum.as_ref())?;
        if let Some(hz) = electronics.leak_rises_from_hz {
            self.one("electronics.leak_rises_from_hz", hz, 50.0, 20_000.0)?;
        }
        if let Some(noise_db) = electronics.noise_db {
            self.both("electronics.noise_db", noise_db, -140.0, 0.0)?;
        }
        if let Some(reduction) = electronics.noise_reduction {
            self.one("electronics.noise_reduction.most_db", reduction.most_db, 0.0, 20.0)?;
        }
        self.both("electronics.dc_offset", electronics.dc_offset, -0.5, 0.5)
    }

    fn hum(&mut self, path: &str, hum: Option<&super::Hum>) -> Result<(), DeckError> {
        let Some(hum) = hum else { return Ok(()) };
        self.one(&format!("{path}.hz"), hum.hz, 45.0, 65.0)?;
        self.both(&format!("{path}.level_db"), hum.level_db, -140.0, 0.0)?;
        let key = format!("{path}.harmonics_db");
        for &db in &hum.harmonics_db {
            self.one(&key, db, -120.0, 40.0)?;
        }
        if hum.harmonics_db.len() > 20 {
            let found = format!("has {} entries", hum.harmonics_db.len());
            return self.contradiction(&key, &found, "give at most 20");
        }
        Ok(())
    }

    fn injection(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let Some(injection) = file.injection else { return Ok(()) };
        self.both("injection.high_120_us", injection.high_120_us, 5.0, 1000.0)?;
        self.both("injection.high_70_us", injection.high_70_us, 5.0, 1000.0)?;
        self.both("injection.low_us", injection.low_us, 300.0, 30_000.0)?;
        if let Some(at_s) = injection.switched_at_s {
            self.one("injection.switched_at_s", at_s, 0.0, 3600.0)?;
        }
        let tape = super::Tape::default() != file.tape || super::Speed::default() != file.speed;
        if tape || file.azimuth != super::Azimuth::default() {
            let remedy = "no tape moves in an injection: take [tape], [speed] and [azimuth] out";
            return self.contradiction("injection", "stands beside a tape", remedy);
        }
        Ok(())
    }

    fn technician(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        if let Some(reduction) = file.noise_reduction {
            // Beyond 18 dB the decoder's law would have two answers.
            self.one("noise_reduction.most_db", reduction.most_db, 0.0, 18.0)?;
            self.both("noise_reduction.level_error_db", reduction.level_error_db, -12.0, 12.0)?;
        }
        for turn in &file.technician.turns {
            self.one("technician.turns.at_s", turn.at_s, 0.0, 3600.0)?;
            self.one("technician.turns.over_s", turn.over_s, 0.0, 60.0)?;
            self.settings("technician.turns", turn.record_db.as_slice(), turn.bias_db.as_slice())?;
        }
        if let Some(steps) = &file.technician.steps {
            self.one("technician.steps.first_s", steps.first_s, 0.0, 3600.0)?;
            self.one("technician.steps.every_s", steps.every_s, 1.0, 600.0)?;
            self.one("technician.steps.over_s", steps.over_s, 0.0, 60.0)?;
            self.settings("technician.steps", &steps.record_db, &steps.bias_db)?;
        }
        Ok(())
    }

    fn settings(&mut self, key: &str, record_db: &[Sides], bias_db: &[Sides]) -> Result<(), DeckError> {
        for (name, values, low, high) in
            [("record_db", record_db, -40.0, 20.0), ("bias_db", bias_db, -10.0, 10.0)]
        {
            let key = format!("{key}.{name}");
            if values.len() > 200 {
                let found = format!("has {} entries", values.len());
                return self.contradiction(&key, &found, "give at most 200");
            }
            for &value in values {
                self.both(&key, value, low, high)?;
            }
        }
        Ok(())
    }

    fn capture(&mut self, file: &DeckFile) -> Result<(), DeckError> {
        let capture = &file.capture;
        if let Some(rate_hz) = capture.rate_hz {
            self.one("capture.rate_hz", rate_hz, 32_000.0, 192_000.0)?;
        }
        self.one("capture.clock_ppm", capture.clock_ppm, -10_000.0, 10_000.0)?;
        self.one("capture.trim_db", capture.trim_db, -60.0, 60.0)?;
        if let Some(clip_dbfs) = capture.clip_dbfs {
            self.one("capture.clip_dbfs", clip_dbfs, -60.0, 20.0)?;
        }
        if let Some(gain) = capture.automatic_gain {
            self.one("capture.automatic_gain.attack_ms", gain.attack_ms, 0.1, 1000.0)?;
            self.one("capture.automatic_gain.release_s", gain.release_s, 0.01, 60.0)?;
            self.one("capture.automatic_gain.target_dbfs", gain.target_dbfs, -40.0, 0.0)?;
            self.one("capture.automatic_gain.most_db", gain.most_db, 0.0, 60.0)?;
        }
        if let Some(suppression) = capture.noise_suppression {
            self.one("capture.noise_suppression.below_dbfs", suppression.below_dbfs, -90.0, -20.0)?;
            self.one("capture.noise_suppression.most_db", suppression.most_db, 0.0, 100.0)?;
        }
        if let Some(lossy) = capture.lossy {
            self.one("capture.lossy.low_pass_hz", lossy.low_pass_hz, 4000.0, 96_000.0)?;
            self.one("capture.lossy.masking_db", lossy.masking_db, 0.0, 90.0)?;
        }
        self.one("capture.cut_start_s", capture.cut_start_s, 0.0, 3600.0)?;
        self.one("capture.cut_end_s", capture.cut_end_s, 0.0, 30.0)?;
        if let Some(lead_in) = capture.lead_in {
            self.one("capture.lead_in.seconds", lead_in.seconds, 0.0, 3600.0)?;
            self.one("capture.lead_in.level_dbfs", lead_in.level_dbfs, -60.0, -3.0)?;
        }
        self.one("capture.tail_s", capture.tail_s, 0.0, 3600.0)
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
        for (name, text) in super::super::examples() {
            let file = DeckFile::from_toml(text, name).unwrap_or_else(|error| panic!("{error}"));
            let again = toml::to_string(&file).unwrap();
            assert_eq!(DeckFile::from_toml(&again, name).unwrap(), file, "{name}");
            assert!(file.about.contains("invented"), "{name} does not say that it is invented");
        }
    }
}
