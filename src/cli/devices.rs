//! The devices of the sound card, as `list devices` prints them.

use crate::harmless::harmless;
use crate::sound_card::{Device, devices};
use std::fmt::Write;

/// Sample rates of one way, Hz.
type Rates = fn(&Device) -> Option<&Vec<u32>>;

/// Inputs and outputs: what is typed, what the system calls it, sample rates.
pub fn list() -> anyhow::Result<String> {
    let devices = devices()?;
    let mut text = String::new();
    let ways: [(&str, Rates); 2] = [
        ("INPUTS: name, what the system calls it, sample rates in Hz", |device| device.input_hz.as_ref()),
        ("OUTPUTS: name, what the system calls it, sample rates in Hz", |device| device.output_hz.as_ref()),
    ];
    for (heading, rates_hz) in ways {
        let row = |device: &Device| {
            let rates: Vec<String> = rates_hz(device)?.iter().map(u32::to_string).collect();
            let rates = if rates.is_empty() { "in use by another program".into() } else { rates.join(", ") };
            Some([harmless(&device.name), harmless(&device.description), rates])
        };
        let rows: Vec<[String; 3]> = devices.iter().filter_map(row).collect();
        let widest = |k: usize| rows.iter().map(|row| row[k].chars().count()).max().unwrap_or(0);
        let [w, v] = [0, 1].map(widest);
        // Writing to a String does not fail.
        let _ = writeln!(text, "{}{heading}", if text.is_empty() { "" } else { "\n" });
        for [name, description, rates] in &rows {
            let _ = writeln!(text, "  {name:<w$}  {description:<v$}  {rates}");
        }
        if rows.is_empty() {
            text.push_str("  none\n");
        }
    }
    Ok(text)
}
