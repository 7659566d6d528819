//! Pages as plain text for a terminal.
//!
//! Pages keep to a small part of Markdown: headings, paragraphs, lists, tables and fenced blocks. That is all that is
//! known here; `tests/readme.rs` holds the pages to it.

/// Blanks between two columns of a table.
const GAP: usize = 2;
/// Indent of what is typed or printed.
const INDENT: &str = "    ";

/// `markdown` as plain text, at most `width` columns wide; lines of fenced blocks stay as they are.
pub(crate) fn plain(markdown: &str, width: usize) -> String {
    let mut blocks: Vec<String> = Vec::new();
    // Whether the block before is an item of the same list.
    let mut in_list = false;
    let mut lines = markdown.lines().peekable();
    while let Some(line) = lines.next() {
        let mut more = |goes_on: &dyn Fn(&str) -> bool| {
            let mut all = vec![line];
            while let Some(next) = lines.next_if(|next| goes_on(next)) {
                all.push(next);
            }
            all
        };
        let item = item_indent(line);
        let block = if line.trim().is_empty() {
            in_list = false;
            continue;
        } else if line.starts_with("```") {
            let inside = more(&|next| !next.starts_with("```"));
            lines.next();
            inside[1..].iter().map(|line| format!("{INDENT}{line}\n")).collect()
        } else if let Some(heading) = line.strip_prefix("# ") {
            format!("{}\n{}\n", bare(heading), "=".repeat(bare(heading).chars().count()))
        } else if line.starts_with('#') {
            let heading = bare(line.trim_start_matches('#').trim());
            format!("{heading}\n{}\n", "-".repeat(heading.chars().count()))
        } else if line.starts_with('|') {
            table(&more(&|next| next.starts_with('|')), width)
        } else {
            let text = more(&|next| {
                !(next.trim().is_empty()
                    || next.starts_with(['|', '#'])
                    || next.starts_with("```")
                    || item_indent(next) > 0)
            });
            let text: Vec<&str> = text.iter().map(|line| line.trim()).collect();
            let whole = bare(&text.join(" "));
            // The further lines of an item hang below its first word.
            let (mark, text) = whole.split_at(item);
            let hanging = format!("\n{}", " ".repeat(item));
            format!("{mark}{}\n", wrapped(text, width - item).join(&hanging))
        };
        match blocks.last_mut().filter(|_| in_list && item > 0) {
            Some(list) => list.push_str(&block),
            None => blocks.push(block),
        }
        in_list = item > 0;
    }
    blocks.join("\n")
}

/// By how much the text of a list's item is indented; 0 if `line` begins none.
fn item_indent(line: &str) -> usize {
    let digits = line.chars().take_while(char::is_ascii_digit).count();
    match &line[digits..] {
        rest if digits > 0 && rest.starts_with(". ") => digits + 2,
        rest if digits == 0 && rest.starts_with("- ") => 2,
        _ => 0,
    }
}

/// `text` without marks of emphasis.
fn bare(text: &str) -> String {
    text.replace("**", "")
}

/// `text` in lines of at most `width` columns; a word that is longer has a line of its own.
pub(crate) fn wrapped(text: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in text.split_whitespace() {
        let last = lines.len() - 1;
        let used = lines[last].chars().count();
        if used > 0 && used + 1 + word.chars().count() > width {
            lines.push(word.to_owned());
        } else {
            if used > 0 {
                lines[last].push(' ');
            }
            lines[last].push_str(word);
        }
    }
    lines
}

/// Lines that `text` takes at `width`, as [`wrapped`] makes them.
fn height(text: &str, width: usize) -> usize {
    let (mut lines, mut used) = (1, 0);
    for length in text.split_whitespace().map(|word| word.chars().count()) {
        if used > 0 && used + 1 + length > width {
            (lines, used) = (lines + 1, length);
        } else {
            used += length + usize::from(used > 0);
        }
    }
    lines
}

/// Widths of the columns of a table: as wide as their cells if there is room for all. Otherwise columns are narrowed, each
/// time the one that makes the table grow least in height, of these the widest.
fn widths(rows: &[Vec<String>], width: usize) -> Vec<usize> {
    let columns = rows.iter().map(Vec::len).max().unwrap_or(0);
    let widest = |k: usize, of: &dyn Fn(&str) -> usize| {
        rows.iter().filter_map(|row| row.get(k)).map(|cell| of(cell)).max().unwrap_or(0)
    };
    let length = |text: &str| text.chars().count();
    let longest_word = |text: &str| text.split_whitespace().map(length).max().unwrap_or(0);
    let least: Vec<usize> = (0..columns).map(|k| widest(k, &longest_word)).collect();
    let mut widths: Vec<usize> = (0..columns).map(|k| widest(k, &length)).collect();
    let heights = |k: usize, width: usize| -> Vec<usize> {
        rows.iter().map(|row| row.get(k).map_or(0, |cell| height(cell, width))).collect()
    };
    let mut now: Vec<Vec<usize>> = (0..columns).map(|k| heights(k, widths[k])).collect();
    while widths.iter().sum::<usize>() + GAP * columns.saturating_sub(1) > width {
        let narrower = (0..columns).filter(|&k| widths[k] > least[k]).map(|k| {
            let own = heights(k, widths[k] - 1);
            let others = |row: usize| (0..columns).filter(|&j| j != k).map(|j| now[j][row]).max();
            let whole: usize =
                own.iter().enumerate().map(|(row, &own)| own.max(others(row).unwrap_or(0))).sum();
            (whole, usize::MAX - widths[k], k, own)
        });
        let Some((_, _, k, own)) = narrower.min() else { break };
        widths[k] -= 1;
        now[k] = own;
    }
    widths
}

/// A table, narrowed until it fits.
fn table(lines: &[&str], width: usize) -> String {
    let cells = |line: &&str| -> Vec<String> {
        line.trim().trim_matches('|').split('|').map(|cell| bare(cell.trim())).collect()
    };
    let rows: Vec<Vec<String>> = lines.iter().filter(|line| !line.starts_with("| ---")).map(cells).collect();
    let widths = widths(&rows, width);
    let mut text = String::new();
    for (n, row) in rows.iter().enumerate() {
        let shown: Vec<Vec<String>> =
            row.iter().zip(&widths).map(|(cell, &width)| wrapped(cell, width)).collect();
        for line in 0..shown.iter().map(Vec::len).max().unwrap_or(0) {
            let cell = |k: usize| shown[k].get(line).map_or("", String::as_str);
            let whole: Vec<String> =
                (0..shown.len()).map(|k| format!("{:<w$}", cell(k), w = widths[k])).collect();
            text.push_str(whole.join(&" ".repeat(GAP)).trim_end());
            text.push('\n');
        }
        if n == 0 {
            let rules: Vec<String> = widths.iter().map(|&width| "-".repeat(width)).collect();
            text.push_str(&format!("{}\n", rules.join(&" ".repeat(GAP))));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_kind_of_block_has_its_look() {
        let page = "# Level\n\nSet **the level**\n`first`.\n\n## Then\n\n- one thing that is long\n  indeed\n- two\n\n\
                    1. first\n\n```sh\ndeckproof list   # all\n```\n";
        let want = "Level\n=====\n\nSet the level\n`first`.\n\nThen\n----\n\n- one thing that is\n  long indeed\n- two\n\n\
                    1. first\n\n    deckproof list   # all\n";
        assert_eq!(plain(page, 20), want);
    }

    #[test]
    fn a_table_is_narrowed_where_it_grows_least() {
        let page = "| a | what it is |\n| --- | --- |\n| `x` | a long cell of words |\n| y | short |\n";
        let want = "a    what it is\n---  -----------\n`x`  a long cell\n     of words\ny    short\n";
        assert_eq!(plain(page, 16), want);
        assert_eq!(plain(page, 60).lines().count(), 4);
        // To narrow the wider second column would break all rows, the first one only one.
        let page = "| two words | cannot tell |\n| --- | --- |\n| a | cannot tell |\n| b | cannot tell |\n";
        let want = "two    cannot tell\nwords\n-----  -----------\na      cannot tell\nb      cannot tell\n";
        assert_eq!(plain(page, 18), want);
    }
}
