use super::keys::SECTIONS;

/// The page of `parse` as a list of section names, each with its keys in order.
fn keys_of_the_page() -> Vec<(String, Vec<String>)> {
    let mut sections: Vec<(String, Vec<String>)> = Vec::new();
    for line in include_str!("mod.rs").lines() {
        if let Some(name) = line.strip_prefix("//! ## ") {
            sections.push((name.to_owned(), Vec::new()));
        } else if let Some(row) = line.strip_prefix("//! | `") {
            let key = row.split('`').next().unwrap_or_default();
            if let Some((_, keys)) = sections.last_mut() {
                keys.push(key.to_owned());
            }
        }
    }
    sections
}

#[test]
fn every_accepted_key_is_on_the_page_and_every_key_of_the_page_is_accepted() {
    let accepted: Vec<(String, Vec<String>)> = SECTIONS
        .iter()
        .map(|section| {
            let keys = section.keys.iter().map(|key| (*key).to_owned());
            (section.name.to_owned(), keys.collect())
        })
        .collect();
    assert_eq!(keys_of_the_page(), accepted);
}
