//! Feeds what libFuzzer makes up to one of the targets; the environment says to which (see `run`).
#![no_main]

mod targets;

use libfuzzer_sys::fuzz_target;
use std::sync::LazyLock;

static TARGET: LazyLock<targets::Target> = LazyLock::new(|| {
    let name = std::env::var("FUZZ_TARGET").unwrap_or_default();
    let known = targets::TARGETS.iter().find(|(known, _)| *known == name);
    known.unwrap_or_else(|| panic!("FUZZ_TARGET={name}: no such target")).1
});

fuzz_target!(|data: &[u8]| TARGET(data));
