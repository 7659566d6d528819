//! Help texts, as snapshots, so that a change is seen.

use super::bench::Bench;

const COMMANDS: [&str; 11] = [
    "write",
    "read",
    "compare",
    "skew",
    "house",
    "bench",
    "rehearse",
    "list",
    "guide",
    "completions",
    "manual",
];

#[test]
fn help_of_each_command() {
    let bench = Bench::new();
    insta::assert_snapshot!("help", bench.run("--help").done().out);
    for command in COMMANDS {
        insta::assert_snapshot!(
            format!("help-{command}"),
            bench.run(&format!("{command} --help")).done().out
        );
    }
}

#[test]
fn each_commands_help_ends_with_two_examples() {
    let bench = Bench::new();
    for command in COMMANDS {
        for option in ["-h", "--help"] {
            let help = bench.run(&format!("{command} {option}")).done().out;
            let (_, examples) =
                help.split_once("\nExamples:\n").unwrap_or_else(|| panic!("{command} {option}\n{help}"));
            let all_of_it = examples.lines().all(|line| line.starts_with(&format!("  deckproof {command}")));
            assert!(examples.lines().count() == 2 && all_of_it, "{command} {option}\n{help}");
        }
    }
}

#[test]
fn help_is_at_most_100_columns_wide() {
    let bench = Bench::new();
    for command in COMMANDS {
        for line in bench.run(&format!("{command} --help")).done().out.lines() {
            assert!(line.chars().count() <= 100, "{command}: {line}");
        }
    }
}
