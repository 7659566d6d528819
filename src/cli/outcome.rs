//! Exit status.

use std::process::ExitCode;

/// How a command ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outcome {
    /// What was asked for is done.
    Done = 0,
    /// It could not be done.
    Failed = 1,
    /// Done, and with `--strict` some finding is outside its limit.
    Outside = 3,
}

/// The table in `--help`.
pub const TABLE: &str = "\
Exit status:
  0  done
  1  could not be done; one line on standard error says which file, what is wrong, what to do
  2  the command line is wrong
  3  done, but with --strict some finding is outside its limit
  130, 143, 129  interrupted; whole files stay, no half ones

An open deck on mains can kill. Test tones can destroy tweeters and hearing. Every running sheet and
report has the cautions: read them first.";

impl From<Outcome> for ExitCode {
    fn from(outcome: Outcome) -> Self {
        ExitCode::from(outcome as u8)
    }
}
