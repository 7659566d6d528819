//! The `deckproof` command.

fn main() -> std::process::ExitCode {
    deckproof::command_line()
}
