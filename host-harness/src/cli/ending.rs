//! What the end of the name of a file promises.

use std::path::Path;

/// Options that write one format, with the ends of names that promise it.
const WRITTEN: [(&str, &str, &[&str]); 5] = [
    ("--svg", "SVG", &["svg"]),
    ("--png", "PNG", &["png"]),
    ("--html", "HTML", &["html", "htm"]),
    ("--json", "JSON", &["json"]),
    ("--junit", "XML", &["xml"]),
];
/// Further formats of pictures and documents.
const OTHERS: [&str; 6] = ["pdf", "jpg", "jpeg", "gif", "webp", "csv"];

/// Refuses a name whose end promises another format than the option writes: what opens the file goes by its name.
pub(super) fn fits(option: &str, path: &Path) -> Result<(), String> {
    let Some((_, format, own)) = WRITTEN.iter().find(|(known, ..)| *known == option) else { return Ok(()) };
    let Some(ending) = path.extension().map(|ending| ending.to_string_lossy().to_ascii_lowercase()) else {
        return Ok(());
    };
    let other = WRITTEN.iter().find(|(_, _, endings)| endings.contains(&ending.as_str()));
    let way_out = match other {
        Some((known, ..)) if *known == option => return Ok(()),
        Some((known, ..)) => format!(", or write it with {known}"),
        None if OTHERS.contains(&ending.as_str()) => String::new(),
        None => return Ok(()),
    };
    Err(format!(
        "{option} {}: {option} writes {format}, and the name ends with .{ending}; end it with .{}{way_out}",
        path.display(),
        own[0]
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_name_is_refused_only_where_it_promises_another_format() {
        for (option, name) in [
            ("--svg", "x.svg"),
            ("--png", "X.PNG"),
            ("--svg", "-"),
            ("--html", "page.htm"),
            ("--json", "report"),
            ("--json", "report.txt"),
            ("--plot", "x.csv"),
        ] {
            assert_eq!(fits(option, Path::new(name)), Ok(()), "{option} {name}");
        }
        assert_eq!(
            fits("--png", Path::new("a/x.svg")).unwrap_err(),
            "--png a/x.svg: --png writes PNG, and the name ends with .svg; end it with .png, or write it with --svg"
        );
        assert!(fits("--html", Path::new("x.pdf")).unwrap_err().ends_with("end it with .html"));
    }
}
