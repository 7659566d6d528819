//! What holds for every command.

use super::bench::{Bench, SHORT, short};
use super::containers::stereo;
use std::process::{Command, Stdio};

#[test]
fn without_a_command_the_help_is_shown_as_an_error() {
    let bench = Bench::new();
    bench.run("").wrong(&["Usage: deckproof <COMMAND>"]);
    bench.run("measure").wrong(&["unrecognized subcommand 'measure'"]);
    assert_eq!(bench.run("--version").done().out, concat!("deckproof ", env!("CARGO_PKG_VERSION"), "\n"));
}

/// `tests/sound_card` has the build with them.
#[test]
#[cfg(not(feature = "sound-card"))]
fn a_build_without_sound_cards_says_how_to_get_one_with_them() {
    let bench = Bench::new();
    for line in ["play first-look", "play --help", "list devices"] {
        bench.run(line).refused(&["deckproof: this build has no support", "--features sound-card`"]);
    }
    assert!(!bench.run("--help").done().out.lines().any(|line| line.starts_with("  play")));
}

#[test]
fn help_has_help() {
    let bench = Bench::new();
    let help = bench.run("help").done().out;
    for line in ["help --help", "help -h"] {
        assert_eq!(bench.run(line).done().out, help, "{line}");
    }
    assert_eq!(bench.run("help read --help").done().out, bench.run("help read").done().out);
    assert_eq!(bench.run("bench help --help").done().out, bench.run("bench help").done().out);
    // Elsewhere `help` may be the name of something.
    assert!(bench.run("write help --help").done().out.contains("write [OPTIONS]"));
}

#[test]
fn a_closed_pipe_is_no_error() {
    let bench = Bench::new();
    bench.put("short.toml", SHORT);
    bench.put("return.wav", stereo(short()));
    for line in ["--help", "list", "list schema", "read return.wav --recipe short.toml"] {
        let mut child = Command::new(env!("CARGO_BIN_EXE_deckproof"))
            .args(line.split_whitespace())
            .current_dir(bench.path("."))
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap();
        drop(child.stdout.take());
        let ended = child.wait_with_output().unwrap();
        let told = String::from_utf8_lossy(&ended.stderr);
        assert_eq!((ended.status.code(), told.as_ref()), (Some(0), ""), "{line}");
    }
}

#[test]
#[cfg(target_os = "linux")]
fn a_full_disk_is_one_line_and_status_1() {
    let bench = Bench::new();
    let full = std::fs::File::options().write(true).open("/dev/full").unwrap();
    let ended = Command::new(env!("CARGO_BIN_EXE_deckproof"))
        .args(["list", "schema"])
        .current_dir(bench.path("."))
        .stdout(full)
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&ended.stderr);
    assert_eq!(ended.status.code(), Some(1), "{told}");
    assert!(told.starts_with("deckproof: standard output: cannot be written"), "{told}");
    assert_eq!(told.matches('\n').count(), 1, "{told}");
}
