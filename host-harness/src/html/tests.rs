//! What comes from outside is text in a page.

use super::{escape, in_script};

#[test]
fn markup_and_control_characters_become_text() {
    assert_eq!(
        escape("<b title='x'>\"&\u{0}\u{7}"),
        "&lt;b title=&#39;x&#39;&gt;&quot;&amp;\u{fffd}\u{fffd}"
    );
}

#[test]
fn json_in_a_script_cannot_end_it() {
    let json = in_script(&serde_json::to_string("</script><!--\u{2028}").unwrap());
    assert!(!json.contains('<') && !json.contains('\u{2028}'), "{json}");
    assert_eq!(serde_json::from_str::<String>(&json).unwrap(), "</script><!--\u{2028}");
}
