//! Two at the scan page: who was first has it, and the other is told who that is.

use crate::works::Works;

/// Scans one after the other, as a scanner does, and gives the last page.
async fn scans(works: &Works, by: &str, codes: &[&str]) -> String {
    let mut kept: Vec<(String, String)> = Vec::new();
    let mut page = String::new();
    for code in codes {
        let mut fields = vec![("by", by), ("scan", *code)];
        fields.extend(kept.iter().map(|(name, value)| (name.as_str(), value.as_str())));
        page = works.form("/scan", &fields).await.body;
        kept = hidden(&page);
    }
    page
}

/// The hidden fields of the page's form.
fn hidden(page: &str) -> Vec<(String, String)> {
    let value = |tag: &str, of: &str| {
        let rest = tag.split_once(&format!(" {of}=\"")).unwrap().1;
        rest.split_once('"').unwrap().0.to_owned()
    };
    let tags = page.split('<').filter(|tag| tag.starts_with("input type=\"hidden\""));
    tags.map(|tag| (value(tag, "name"), value(tag, "value"))).collect()
}

fn is_yes(page: &str) -> bool {
    assert_ne!(page.contains("verdict yes"), page.contains("verdict no"), "{page}");
    page.contains("verdict yes")
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn who_was_first_has_the_slot_and_the_other_is_told() {
    let works = Works::start().await;
    let first = scans(&works, "Ann", &["ST-001", "rack-0/S58"]).await;
    assert!(is_yes(&first));
    let second = scans(&works, "Ben", &["rack-0/S58", "ST-003"]).await;
    assert!(!is_yes(&second));
    assert!(second.contains("Slot S58 waits for ST-001"), "{second}");
    assert!(second.contains("First there was <a href=\"/stencils/ST-001\">"), "{second}");
    let third = scans(&works, "Ben", &["ST-003", "S2"]).await;
    assert!(!is_yes(&third));
    assert!(third.contains("Slot S2 holds ST-004"), "{third}");
    works.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_two_who_take_at_once_one_is_told_who_was_first() {
    let works = Works::start().await;
    for number in 0..20 {
        let code = crate::works::code(number);
        let take = |by| {
            let (works, code) = (&works, code.clone());
            async move {
                let fields = [("by", by), ("stencil", code.as_str()), ("do", "take")];
                works.form("/scan", &fields).await.body
            }
        };
        let (one, other) = tokio::join!(take("Ann"), take("Ben"));
        assert_ne!(is_yes(&one), is_yes(&other), "{code}");
        let (late, first) = if is_yes(&one) { (other, "Ann") } else { (one, "Ben") };
        assert!(late.contains(&format!("{first} asked first and may take it until")), "{late}");
    }
    works.stop().await;
}
