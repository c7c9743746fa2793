//! The page that lists every metric, made of the families themselves.

use std::fmt::Write as _;

use prometheus::Registry;

use super::families::Families;

/// The page, as Markdown.
///
/// # Errors
/// When a family cannot be registered, which is a fault of this program.
pub(crate) fn page() -> prometheus::Result<String> {
    let (_, described) = Families::register(&Registry::new())?;
    let mut page = String::from(
        "# Metrics\n\n\
         Made by `stencilward metrics`; do not edit. Instants are seconds since 1970. Counts of \
         strokes, washes and decisions go on across restarts: they are read from the ledger.\n\n\
         | metric | kind | labels | what it tells |\n|---|---|---|---|\n",
    );
    for one in described {
        let labels = one.labels.iter().map(|label| format!("`{label}`"));
        let labels = labels.collect::<Vec<_>>().join(", ");
        let _ = writeln!(page, "| `{}` | {} | {labels} | {} |", one.name, one.kind, one.help);
    }
    page.push_str(
        "\nSeries of a stencil leave when it is retired, those that tell how a machine is when it \
         leaves the configuration. At most `metrics.stencils` stencils have series; \
         `stencilward_stencils_without_series` says how many have none.\n",
    );
    Ok(page)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Written anew with `STENCILWARD_WRITE=1`.
    #[test]
    fn the_page_lists_what_there_is() {
        let file = concat!(env!("CARGO_MANIFEST_DIR"), "/../metrics.md");
        let page = page().unwrap();
        if std::env::var_os("STENCILWARD_WRITE").is_some() {
            std::fs::write(file, &page).unwrap();
        }
        let kept = std::fs::read_to_string(file).unwrap_or_default();
        assert_eq!(kept, page, "gateway/metrics.md is old: run with STENCILWARD_WRITE=1");
    }
}
