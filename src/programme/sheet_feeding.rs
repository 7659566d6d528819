//! The running sheet's steps for an injection: what to connect where, through which resistors, and how to set the level.

use super::sheet::{clock, level_tone};
use super::{Feed, Feeding, Timeline};

/// What to do before an injection, one step a line.
pub(super) fn steps(timeline: &Timeline, feed: Feed, feeding: &Feeding) -> Vec<String> {
    let mut steps = vec![String::from(match feed {
        Feed::Amplifier => {
            "Pull the mains plug. Take the playback head's hot lead off the amplifier. Feed each channel's input from its own \
             divider, left to left, right to right. Connect the divider's ground to the head's ground. Or leave the head \
             on and put the lower resistor into its cold end: then head and amplifier are read together, resonance included."
        }
        Feed::Loop => {
            "Pull the mains plug. Lay one thin insulated wire across the face of the playback head, along the gap, over both \
             tracks alike. Hold it there with tape, not with glue. Join a resistor from the left output and one of the same \
             value from the right output at the wire. Connect its other end to the player's ground, not to the deck's."
        }
    })];
    steps.extend(resistors(feed, feeding));
    let mut say = |step: &str| steps.push(step.to_owned());
    say(
        "Put a capacitor in series with each upper resistor: it keeps DC out. Keep leads short and twisted. If hum rises when \
         you connect, break the ground loop first.",
    );
    say(
        "Put no cassette in. Set the deck to play, or it mutes: hold the cassette sensing levers. Begin with type I \
         (120 us), noise reduction off, monitor switch at TAPE.",
    );
    say(
        "Connect left and right output of the deck to the sound card. Switch every enhancement and automatic gain off there.",
    );
    if let Some(part) = level_tone(timeline) {
        say(&format!(
            "Play the level tone, {} s from {} on, as often as you need. Turn the player's volume until the deck's output \
             stands at its reference level (its meter, or the service manual's voltage). Set both channels of the player to \
             the same volume, tone controls flat. Then do not touch the volume again.",
            part.length_s,
            clock(part.start_s)
        ));
    }
    say("Set the sound card's input so that this tone stands near -12 dBFS.");
    say(
        "Start the capture first, then play the whole file. In the pause, switch the deck to type II (70 us). Touch nothing \
         else.",
    );
    say(match feed {
        Feed::Amplifier => {
            "This reads the amplifier alone, against the curve behind an ideal head. Losses and resonance of the head are not \
             in it, unless the head stays connected."
        }
        Feed::Loop => {
            "This reads head winding and amplifier together, against the curve. No tape runs, so losses of gap, spacing and \
             azimuth are not in it. The place of the wire makes level and channel difference uncertain, but not the curve."
        }
    });
    steps
}

fn resistors(feed: Feed, feeding: &Feeding) -> Vec<String> {
    let (Some(volts), Some(found)) = (feeding.source_volts, feeding.resistors(feed)) else {
        return vec![how_to_work_out(feed)];
    };
    let mut lines = Vec::new();
    let [upper, off] = [ohms(found.upper_ohm), format!("{:+.2} dB", found.off_db)];
    match (feed, found.lower_ohm, feeding.input_millivolts, feeding.loop_milliamps) {
        (Feed::Amplifier, Some(lower), Some(wanted), _) => {
            let load = feeding.load_ohm.unwrap_or(Feeding::USUAL_LOAD_OHM);
            let said = if feeding.load_ohm.is_some() { "" } else { ", assumed" };
            let lower = ohms(lower);
            lines.push(format!(
                "Divider of each channel, from {volts} V at the player to {wanted} mV at the input (load {}{said}): upper \
                 resistor {upper}, lower resistor {lower} across the input (series E24). It gives {:.3} mV, {off} off; the \
                 volume makes up for that.",
                ohms(load),
                found.real
            ));
        }
        (Feed::Loop, _, _, Some(wanted)) => lines.push(format!(
            "Resistors from {volts} V at each output to {wanted} mA in the wire: {upper} each (series E24). They give {:.3} mA \
             together, {off} off; the volume makes up for that.",
            found.real
        )),
        _ => {}
    }
    lines.push(format!(
        "Capacitor in series with each upper resistor: at least {} uF; it takes less than 0.02 dB at 20 Hz.",
        plain(found.capacitor_uf)
    ));
    if found.heavy {
        lines.push(String::from(
            "These resistors load the player with less than 600 ohm, which a line output does not bear well (common \
             practice, no source): use a headphone output.",
        ));
    }
    lines
}

fn how_to_work_out(feed: Feed) -> String {
    String::from(match feed {
        Feed::Amplifier => {
            "Divider of each channel: lower resistor 10 ohm across the input, upper resistor 10 ohm x (player's voltage / \
             wanted voltage - 1). Measure the player's voltage with the level tone. The wanted voltage is the service \
             manual's for the reference level (some tenths of a millivolt: common practice, no source). Give both as \
             --source-volts and --input-millivolts when you write the programme: then the resistors stand here."
        }
        Feed::Loop => {
            "Resistors: twice the player's voltage / wanted current, one from each output. Which current makes the reference \
             level depends on head and wire: begin with 1 mA and let the level tone show. Give both as --source-volts and \
             --loop-milliamps when you write the programme: then the resistors stand here."
        }
    })
}

/// A resistance as the trade says it.
fn ohms(ohm: f64) -> String {
    if ohm >= 1e6 {
        format!("{} Mohm", plain(ohm / 1e6))
    } else if ohm >= 1e3 {
        format!("{} kohm", plain(ohm / 1e3))
    } else {
        format!("{} ohm", plain(ohm))
    }
}

/// Two digits are all that a preferred value has; more are shown of what was typed.
fn plain(value: f64) -> String {
    let text = format!("{value:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

#[cfg(test)]
mod tests {
    use super::super::{Depth, Written, built_in_by_name, running_sheet};
    use super::*;
    use crate::trade::{CAUTIONS, INJECTION_CAUTIONS};

    fn sheet(name: &str, feeding: Feeding) -> String {
        let recipe = built_in_by_name(name).unwrap();
        let written = Written {
            wav_name: "a.wav",
            rate_hz: 48_000,
            depth: Depth::TwentyFour,
            reference_dbfs: -12.0,
            feeding,
        };
        let sheet = running_sheet(&recipe, &Timeline::from(&recipe), &written);
        [sheet.cautions.join(" "), sheet.before.1.join(" ")].join(" ")
    }

    #[test]
    fn the_sheet_names_resistors_and_cautions_and_no_tape() {
        let feeding = Feeding { source_volts: Some(1.0), input_millivolts: Some(0.3), ..Feeding::default() };
        let text = sheet("injection", feeding);
        for caution in CAUTIONS.iter().chain(&INJECTION_CAUTIONS) {
            assert!(text.contains(caution), "{caution}\n{text}");
        }
        for words in [
            "upper resistor 33 kohm",
            "lower resistor 10 ohm",
            "0.303 mV, +0.08 dB",
            "6.8 uF",
            "Put no cassette in",
        ] {
            assert!(text.contains(words), "{words}\n{text}");
        }
        assert!(!text.contains("Record the whole file"), "{text}");
        let feeding = Feeding { source_volts: Some(0.5), loop_milliamps: Some(2.0), ..Feeding::default() };
        let text = sheet("injection-loop", feeding);
        for words in ["510 ohm each", "1.961 mA", "headphone output"] {
            assert!(text.contains(words), "{words}\n{text}");
        }
    }

    #[test]
    fn without_figures_it_says_how_to_work_them_out() {
        for (name, option) in [("injection", "--input-millivolts"), ("injection-loop", "--loop-milliamps")] {
            let text = sheet(name, Feeding::default());
            assert!(text.contains(option) && text.contains("--source-volts"), "{text}");
        }
    }
}
