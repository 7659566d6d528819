//! The terminal of a command that follows, in a terminal of its own: what is drawn, which keys are heard while standard
//! input is the signal, and that it is given back however the command ends.

#![cfg(unix)]

use crate::live_pictures;
use crate::pty::Pty;
use deckproof::internals::cli::{LiveScreen, watch_for_interrupts};
use deckproof::internals::show::live::{Colours, Look};
use deckproof::reading::LiveKey;
use std::io::Write;
use std::time::Duration;

/// Set for the test that plays the command: `on` or `off` for colours, `panic`, or `busy` for pictures that change all the time.
const STAGE: &str = "DECKPROOF_STAGE";

/// No test, but the command in the terminal: draws one picture, says which key came, and ends by `q`.
#[test]
#[ignore = "started by the others, in a terminal"]
fn stage() {
    let Ok(mode) = std::env::var(STAGE) else { return };
    watch_for_interrupts();
    let colours = if mode == "on" { Colours::On } else { Colours::Off };
    let mut screen = LiveScreen::open(Look { colours }).unwrap();
    let mut picture = live_pictures::azimuth();
    let wait = Duration::from_millis(if mode == "busy" { 1 } else { 50 });
    for count in 0.. {
        if mode == "busy" {
            picture = if count % 2 == 0 { live_pictures::azimuth() } else { live_pictures::response() };
        }
        screen.draw(&picture).unwrap();
        match screen.key(wait) {
            Some(LiveKey::Quit) => break,
            Some(LiveKey::Keep) if mode == "panic" => panic!("the stage breaks"),
            Some(key) => picture.done = Some(format!("{key:?}")),
            None => {}
        }
    }
    drop(screen);
    println!("given back");
}

/// The stage in a terminal, once its first picture is there.
fn staged(mode: &str, redirected: &str) -> Pty {
    let program = std::env::current_exe().unwrap();
    let arguments = ["--exact", "live_screen::stage", "--ignored", "--nocapture"];
    let pty = Pty::start(program.to_str().unwrap(), arguments, &[(STAGE, mode)], redirected);
    pty.wait_for_text("q quit");
    pty
}

#[track_caller]
fn is_given_back(pty: &Pty, before: &str) {
    pty.wait_for("given back", |_| !pty.is_on_other_screen() && !pty.hides_cursor());
    assert_eq!(pty.settings(), before);
}

/// Settings of a terminal in which nothing has been set.
fn untouched() -> String {
    let mut pty = Pty::start("sleep", ["0"], &[], "");
    let settings = pty.settings();
    pty.wait();
    settings
}

#[test]
fn a_picture_stands_on_a_screen_of_its_own_and_the_keys_are_heard_beside_the_signal() {
    let before = untouched();
    let mut pty = staged("off", "");
    assert!(pty.is_on_other_screen() && pty.hides_cursor() && !pty.has_colour());
    assert_ne!(pty.settings(), before);
    let drawn = pty.screen();
    let mut want = deckproof::internals::show::live::screen_text(&live_pictures::azimuth(), 80, 24);
    assert_eq!(drawn.trim_end(), want.split_off(0).trim_end());
    // Letters in the signal are no keys, and its end is not that of the keys.
    pty.send(b"qqqq").unwrap();
    let mut sender = pty.sender();
    std::thread::spawn(move || sender.write_all(b"qqqq")).join().unwrap().unwrap();
    pty.end_signal();
    for (keys, said) in [("4", "View(Speed)"), ("0", "FollowSignal"), ("H", "Hold"), ("k", "Keep")] {
        pty.type_keys(keys);
        pty.wait_for_text(said);
    }
    pty.type_keys("q");
    assert_eq!(pty.wait(), 0, "{}", pty.screen());
    pty.wait_for_text("given back");
    is_given_back(&pty, &before);
}

#[test]
fn escape_and_ctrl_c_end_it() {
    for key in ["\u{1b}", "\u{3}"] {
        let mut pty = staged("off", "");
        pty.type_keys(key);
        assert_eq!(pty.wait(), 0);
        pty.wait_for_text("given back");
    }
}

#[test]
fn it_follows_the_size_of_the_terminal() {
    let mut pty = staged("off", "");
    for (columns, rows, said) in [(100, 30, "q quit"), (60, 10, "60 by 10"), (132, 43, "q quit")] {
        pty.resize(columns, rows);
        let want = deckproof::internals::show::live::screen_text(&live_pictures::azimuth(), columns, rows);
        let screen = pty.wait_for(said, |screen| screen.trim_end() == want.trim_end());
        assert!(screen.contains(said), "{screen}");
    }
}

#[test]
fn it_draws_on_standard_error_where_standard_output_is_no_terminal() {
    let mut pty = staged("on", ">printed");
    assert!(pty.has_colour());
    pty.type_keys("q");
    assert_eq!(pty.wait(), 0);
}

#[test]
fn an_interrupt_gives_the_terminal_back() {
    let before = untouched();
    for (signal, status) in [("INT", 130), ("TERM", 143), ("HUP", 129)] {
        let mut pty = staged("off", "");
        pty.kill(signal);
        assert_eq!(pty.wait(), status, "{signal}");
        pty.wait_for_text("deckproof: interrupted");
        is_given_back(&pty, &before);
    }
}

#[test]
fn an_interrupt_ends_it_though_the_terminal_stands_still() {
    let before = untouched();
    let mut pty = staged("busy", "");
    pty.stand_still(true);
    // Until the terminal holds all that it can.
    std::thread::sleep(Duration::from_millis(500));
    pty.kill("TERM");
    assert_eq!(pty.wait(), 143);
    assert_eq!(pty.settings(), before);
}

#[test]
fn a_panic_gives_the_terminal_back_and_is_read() {
    let before = untouched();
    let mut pty = staged("panic", "");
    pty.type_keys("k");
    assert_eq!(pty.wait(), 101);
    pty.wait_for_text("the stage breaks");
    is_given_back(&pty, &before);
}

#[test]
fn a_command_that_draws_nothing_prints_into_the_terminal() {
    let mut pty = Pty::deckproof("guide cautions");
    assert_eq!(pty.wait(), 0);
    let screen = pty.wait_for_text("isolating");
    assert!(!pty.is_on_other_screen(), "{screen}");
}
