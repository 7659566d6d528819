//! Deck files that are built in. All of them are invented.

/// Name and TOML text of every example deck; `rehearsal` is the default of `rehearse`.
pub const EXAMPLES: &[(&str, &str)] = &[
    ("rehearsal", include_str!("examples/rehearsal.toml")),
    ("healthy-three-head", include_str!("examples/healthy-three-head.toml")),
    ("healthy-two-head", include_str!("examples/healthy-two-head.toml")),
    ("worn-portable", include_str!("examples/worn-portable.toml")),
    ("tilted-head", include_str!("examples/tilted-head.toml")),
    ("slipping-idler", include_str!("examples/slipping-idler.toml")),
    ("dirty-left", include_str!("examples/dirty-left.toml")),
    ("dead-right", include_str!("examples/dead-right.toml")),
    ("crossed-leads", include_str!("examples/crossed-leads.toml")),
    ("clipping-card", include_str!("examples/clipping-card.toml")),
    ("humming", include_str!("examples/humming.toml")),
    ("wrong-equalisation", include_str!("examples/wrong-equalisation.toml")),
    ("late-start", include_str!("examples/late-start.toml")),
    ("cut-start", include_str!("examples/cut-start.toml")),
    ("gain-riding", include_str!("examples/gain-riding.toml")),
    ("erased-tape", include_str!("examples/erased-tape.toml")),
    ("trimmed-record", include_str!("examples/trimmed-record.toml")),
    ("monitored-trim", include_str!("examples/monitored-trim.toml")),
    ("stepped-bias", include_str!("examples/stepped-bias.toml")),
    ("mistracking", include_str!("examples/mistracking.toml")),
    ("reduction-left-on", include_str!("examples/reduction-left-on.toml")),
    ("drifted-amplifier", include_str!("examples/drifted-amplifier.toml")),
    ("loop-fed", include_str!("examples/loop-fed.toml")),
    ("lossy-link", include_str!("examples/lossy-link.toml")),
];
