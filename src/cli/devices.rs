//! The devices of the sound card, as `list devices` prints them.

use crate::harmless::harmless;
use crate::sound_card::{Device, devices};
use std::fmt::Write;

/// Sample rates of one way, Hz.
type Rates = fn(&Device) -> &[u32];

/// Inputs and outputs: what is typed, what the system calls it, sample rates.
pub fn list() -> anyhow::Result<String> {
    let devices = devices()?;
    let mut text = String::new();
    let ways: [(&str, Rates); 2] = [
        ("INPUTS: name, what the system calls it, sample rates in Hz", |device| &device.input_hz),
        ("OUTPUTS: name, what the system calls it, sample rates in Hz", |device| &device.output_hz),
    ];
    for (heading, rates_hz) in ways {
        let rows: Vec<&Device> = devices.iter().filter(|device| !rates_hz(device).is_empty()).collect();
        let widest =
            |of: fn(&Device) -> &str| rows.iter().map(|device| of(device).chars().count()).max().unwrap_or(0);
        let widths = [widest(|device| &device.name), widest(|device| &device.description)];
        // Writing to a String does not fail.
        let _ = writeln!(text, "{}{heading}", if text.is_empty() { "" } else { "\n" });
        for device in &rows {
            let rates: Vec<String> = rates_hz(device).iter().map(u32::to_string).collect();
            let [name, description] = [&device.name, &device.description].map(|words| harmless(words));
            let [w, v] = widths;
            let _ = writeln!(text, "  {name:<w$}  {description:<v$}  {}", rates.join(", "));
        }
        if rows.is_empty() {
            text.push_str("  none\n");
        }
    }
    Ok(text)
}
