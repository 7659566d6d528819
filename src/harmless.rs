//! Text that comes from somewhere: made so that it acts on nothing that shows it, and cut to what a message has room for.

/// Longest value that a message says again, characters.
const ECHO: usize = 60;

/// Whether `c` is an order to a terminal, a page or a line of text instead of something to be read.
pub(crate) fn acts(c: char) -> bool {
    c.is_control()
        || matches!(
            c,
            // Marks of direction, breaks, what is not seen, and what no XML may hold.
            '\u{61c}'
                | '\u{180e}'
                | '\u{200b}'
                | '\u{200e}'
                | '\u{200f}'
                | '\u{2028}'..='\u{202e}'
                | '\u{2060}'..='\u{206f}'
                | '\u{feff}'
                | '\u{fff9}'..='\u{fffb}'
                | '\u{fffe}'
                | '\u{ffff}'
                | '\u{e0000}'..='\u{e007f}'
        )
}

/// `text` on one line; what [`acts`] is written out, such as `\u{202e}`.
pub(crate) fn harmless(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    for c in text.chars() {
        match c {
            '\n' | '\r' | '\t' => shown.push(' '),
            c if acts(c) => shown.extend(c.escape_unicode()),
            c => shown.push(c),
        }
    }
    shown
}

/// `value` as a message says it again: some 60 characters of it.
pub(crate) fn echo(value: &str) -> String {
    match value.char_indices().nth(ECHO) {
        Some((end, _)) => format!("{}...", &value[..end]),
        None => value.to_owned(),
    }
}

/// A parser's message on one line, with no more than [`echo`] gives of each text that it quotes.
pub(crate) fn echoes(message: &str) -> String {
    let on_one_line = message.trim_end().replace('\n', ", ");
    let mut cut = String::with_capacity(on_one_line.len());
    for piece in on_one_line.split_inclusive(['`', '"']) {
        // Of a parser's own words none are that long.
        if piece.chars().count() > 2 * ECHO {
            let quote = piece.chars().last().filter(|c| matches!(c, '`' | '"'));
            cut += &echo(piece);
            cut.extend(quote);
        } else {
            cut += piece;
        }
    }
    cut
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_steers_is_written_out_and_what_is_read_stays() {
        assert_eq!(harmless("a\u{1b}[31m\nb\tc\u{9b}2J"), "a\\u{1b}[31m b c\\u{9b}2J");
        assert_eq!(harmless("\u{202e}vaw.\u{2066}\u{feff}"), "\\u{202e}vaw.\\u{2066}\\u{feff}");
        let read = "Pr\u{fc}fung 3 \u{2212}1\u{a0}dB \u{5d0}\u{5d1} \u{1f50a}";
        assert_eq!(harmless(read), read);
    }

    #[test]
    fn a_long_value_is_cut() {
        assert_eq!(echo(&"\u{e4}".repeat(60)), "\u{e4}".repeat(60));
        assert_eq!(echo(&"\u{e4}".repeat(5000)), "\u{e4}".repeat(60) + "...");
        let message = |key: &str| format!("unknown field `{key}`, expected one of `a`, `b`");
        assert_eq!(echoes(&(message(&"k ".repeat(2500)) + "\n")), message(&("k ".repeat(30) + "...")));
        assert_eq!(echoes(&message("short")), message("short"));
    }
}
