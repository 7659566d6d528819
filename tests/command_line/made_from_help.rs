//! `completions` and `manual`: what is made from the definitions of the commands has all of them.

use super::bench::Bench;
use std::process::{Command, Stdio};

/// Commands and options, as the help of each names them: every command line with the long options it takes.
fn commands(bench: &Bench) -> Vec<(String, Vec<String>)> {
    fn add(bench: &Bench, line: &str, found: &mut Vec<(String, Vec<String>)>) {
        let help = bench.run(&format!("{line} --help")).done().out;
        let options = help.lines().filter_map(|line| {
            // At the edge stands a note, not an option.
            let line = line.strip_prefix("  ")?.trim_start();
            let line = line.strip_prefix("-h, ").or_else(|| line.strip_prefix("-V, ")).unwrap_or(line);
            let option = line.strip_prefix("--")?;
            Some(option.split([' ', '.', '[']).next().unwrap().to_owned())
        });
        found.push((line.to_owned(), options.collect()));
        let inner = help.split_once("\nCommands:\n").map_or("", |(_, after)| after);
        let names = inner.lines().take_while(|line| !line.is_empty()).filter_map(|line| {
            let name = line.strip_prefix("  ")?.split(' ').next()?;
            (!name.is_empty() && name != "help").then_some(name)
        });
        for name in names {
            add(bench, format!("{line} {name}").trim(), found);
        }
    }
    let mut found = Vec::new();
    add(bench, "", &mut found);
    found
}

#[test]
fn every_shell_gets_every_command_and_option() {
    let bench = Bench::new();
    let commands = commands(&bench);
    assert!(commands.len() > 25, "{commands:?}");
    for shell in ["bash", "elvish", "fish", "powershell", "zsh"] {
        let script = bench.run(&format!("completions {shell}")).done().out;
        for (line, options) in &commands {
            let last = line.split(' ').next_back().unwrap();
            assert!(script.contains(last), "{shell}: {line}");
            // A fish script names options without their hyphens.
            for option in options {
                let names = [format!("--{option}"), format!("-l {option}")];
                assert!(names.iter().any(|name| script.contains(name)), "{shell}: {line} --{option}");
            }
        }
    }
    bench.run("completions").wrong(&["<SHELL>"]);
    bench.run("completions nonesuch").wrong(&["nonesuch", "bash"]);
}

#[test]
#[cfg(unix)]
fn a_shell_completes_by_what_is_printed() {
    let bench = Bench::new();
    bench.put("script", bench.run("completions bash").done().out);
    let asked = "source ./script; COMP_WORDS=(deckproof guide caut); COMP_CWORD=2; \
                 _deckproof deckproof caut guide; echo ${COMPREPLY[@]}";
    let Ok(shell) = Command::new("bash").args(["-c", asked]).current_dir(bench.path(".")).output() else {
        // No such shell on this machine.
        return;
    };
    assert_eq!(String::from_utf8_lossy(&shell.stdout), "cautions\n", "{shell:?}");
}

#[test]
fn the_manual_page_has_every_command_and_option() {
    let bench = Bench::new();
    let manual = bench.run("manual").done();
    assert_eq!(manual.err, "");
    assert!(manual.out.contains("\n.TH deckproof 1"), "{}", manual.out);
    for (line, options) in commands(&bench).iter().filter(|(line, _)| !line.is_empty()) {
        let head = format!("\n.SS \"deckproof {line}\"\n");
        let (_, section) = manual.out.split_once(&head).unwrap_or_else(|| panic!("no {head}"));
        let section = section.split("\n.S").next().unwrap();
        for option in options.iter().filter(|option| *option != "help") {
            let option = format!("\\-\\-{}", option.replace('-', "\\-"));
            assert!(section.contains(&option), "{line}: {option}\n{section}");
        }
    }
    // Notes keep their lines, and references to pages that are not there do not stand in it.
    assert!(manual.out.contains("\nExit status:\n"), "{}", manual.out);
    assert!(!manual.out.contains("(1)"));
    let quiet = Command::new("groff")
        .args(["-man", "-Tascii", "-ww", "-z"])
        .current_dir(bench.path("."))
        .stdin(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn();
    // Where there is a formatter, it finds nothing wrong.
    if let Ok(mut formatter) = quiet {
        use std::io::Write;
        formatter.stdin.take().unwrap().write_all(manual.out.as_bytes()).unwrap();
        let told = formatter.wait_with_output().unwrap();
        assert_eq!(String::from_utf8_lossy(&told.stderr), "");
    }
}
