//! Files of our own making, told by a mark inside: nothing else is ever replaced.
//!
//! The mark is the format of a JSON, the generator of a page, the head of a running sheet, a CUE sheet or a rehearsal's
//! deck, the last chunk of a WAV. Tables, figures and summaries have none: they are ours beside a marked reading and
//! its report, or a comparison and its page.

use std::fs::File;
use std::io::Read;
use std::io::Seek;
use std::io::SeekFrom;
use std::path::Path;

/// What every WAV of ours ends with: the chunk that names the program which wrote it (`ISFT`).
pub(super) const WAV_MARK: &[u8; 30] = b"LIST\x16\0\0\0INFOISFT\x0a\0\0\0Deckproof\0";
/// First line of a CUE sheet of ours.
pub(super) const CUE_MARK: &str = "REM COMMENT \"Deckproof\"\n";
/// First line of the deck that a rehearsal leaves.
pub const DECK_MARK: &str = "# Deck of a rehearsal, written by Deckproof\n";
/// Pairs of files that make a folder one of ours: nothing else writes both.
const OF_FOLDER: [[&str; 2]; 2] = [["reading.json", "report.html"], ["comparison.json", "comparison.html"]];
/// Endings of files that carry no mark.
const UNMARKED: [&str; 3] = ["csv", "svg", "txt"];
/// Marks of texts stand within so many bytes.
const HEAD_BYTES: u64 = 1 << 16;

/// What kind of file of ours lies at `path`, such as `wav` or `deckproof-reading/1`; `None` if it carries no mark of ours.
pub(super) fn kind(path: &Path) -> Option<String> {
    let mut file = File::open(path).ok()?;
    let mut head = Vec::new();
    Read::by_ref(&mut file).take(HEAD_BYTES).read_to_end(&mut head).ok()?;
    if head.starts_with(b"RIFF") {
        let mut end = [0; WAV_MARK.len()];
        file.seek(SeekFrom::End(-(end.len() as i64))).ok()?;
        file.read_exact(&mut end).ok()?;
        return (end == *WAV_MARK).then(|| "wav".to_owned());
    }
    let head = String::from_utf8_lossy(&head);
    if let Some(format) = head.strip_prefix("{\n  \"format\": \"") {
        return format.split('"').next().filter(|format| format.starts_with("deckproof-")).map(str::to_owned);
    }
    let is_page =
        head.starts_with("<!DOCTYPE html>") && head.contains(r#"name="generator" content="Deckproof""#);
    let is_sheet = head.starts_with("Running sheet:") && head.contains("\nSlate code ");
    let kinds = [
        (is_page, "page"),
        (is_sheet, "running sheet"),
        (head.starts_with(CUE_MARK), "CUE sheet"),
        (head.starts_with(DECK_MARK), "deck"),
    ];
    kinds.iter().find(|kind| kind.0).map(|kind| kind.1.to_owned())
}

/// Whether the file at `path` may be replaced: it carries a mark of ours, is one of those without a mark in a folder that is
/// ours, or is empty. Given the file that shall stand there, whether that is of the same kind as well.
pub(super) fn is_replaceable(path: &Path, by: Option<&Path>) -> bool {
    if path.metadata().is_ok_and(|there| there.len() == 0) {
        return true;
    }
    let ours = kind(path);
    let beside = |pair: &[&str; 2]| pair.iter().all(|name| kind(&path.with_file_name(name)).is_some());
    let unmarked = || {
        let ending = path.extension().and_then(|ending| ending.to_str());
        ending.is_some_and(|ending| UNMARKED.contains(&ending)) && OF_FOLDER.iter().any(beside)
    };
    (ours.is_some() || unmarked()) && by.is_none_or(|by| kind(by) == ours)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_what_carries_a_mark_is_ours() {
        let folder = tempfile::tempdir().unwrap();
        let put = |name: &str, text: &str| {
            let path = folder.path().join(name);
            std::fs::write(&path, text).unwrap();
            path
        };
        for (text, want) in [
            ("{\n  \"format\": \"deckproof-card/1\",\n", Some("deckproof-card/1")),
            ("{\n  \"format\": \"other/1\",\n  \"note\": \"deckproof-card/1\"", None),
            ("format = \"deckproof-job/1\"\n", None),
            ("notes about Deckproof\n", None),
            ("RIFF Deckproof WAVE", None),
            ("Running sheet: mine\n", None),
            ("", None),
        ] {
            assert_eq!(kind(&put("file", text)).as_deref(), want, "{text}");
        }
        let (table, notes) = (put("level.csv", "hz\r\n"), put("notes.md", "mine"));
        assert!(!is_replaceable(&table, None));
        put("report.html", "<!DOCTYPE html>\n<meta name=\"generator\" content=\"Deckproof\">");
        assert!(!is_replaceable(&table, None));
        let reading = put("reading.json", "{\n  \"format\": \"deckproof-reading/1\"\n");
        assert!(
            is_replaceable(&table, None) && is_replaceable(&reading, None) && !is_replaceable(&notes, None)
        );
        // Each by its like.
        let new = put("new", "hz\r\n1\r\n");
        assert!(is_replaceable(&table, Some(&new)) && !is_replaceable(&reading, Some(&new)));
        assert!(!is_replaceable(&table, Some(&reading)));
        assert!(is_replaceable(&put("empty", ""), Some(&new)));
    }
}
