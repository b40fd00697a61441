//! Changes of a job brought into the text a person wrote: what did not change keeps its words, order and comments.

use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

/// Bring the difference between `before` and `after`, both rendered, into `document`.
pub(super) fn merge(document: &mut DocumentMut, before: &Table, after: &Table) {
    let mut orphans = String::new();
    merge_table(document.as_table_mut(), before, after, &mut orphans);
    if !orphans.is_empty() {
        let trailing = document.trailing().as_str().unwrap_or_default().to_owned();
        document.set_trailing(format!("{orphans}{trailing}"));
    }
}

/// Same value in the rendered form, in which equal values have equal text.
fn same(one: Option<&Item>, other: Option<&Item>) -> bool {
    match (one, other) {
        (Some(Item::Value(one)), Some(Item::Value(other))) => one.to_string().trim() == other.to_string().trim(),
        (None, None) => true,
        _ => false,
    }
}

fn merge_table(written: &mut dyn TableLike, before: &dyn TableLike, after: &dyn TableLike, orphans: &mut String) {
    let gone: Vec<String> = before.iter().map(|(key, _)| key).filter(|key| !after.contains_key(key)).map(str::to_owned).collect();
    for key in gone {
        if let (Some(Item::ArrayOfTables(list)), Some(Item::ArrayOfTables(old))) = (written.get_mut(&key), before.get(&key)) {
            merge_list(list, &key, old, &ArrayOfTables::new(), orphans);
        }
        written.remove(&key);
    }
    for (key, item) in after.iter() {
        let was = before.get(key);
        if same(was, Some(item)) {
            continue;
        }
        merge_item(written, key, was, item, orphans);
    }
}

fn merge_item(written: &mut dyn TableLike, key: &str, was: Option<&Item>, item: &Item, orphans: &mut String) {
    let empty = Table::new();
    if let Some(Item::ArrayOfTables(list)) = written.get_mut(key)
        && let Item::ArrayOfTables(new) = item
    {
        let none = ArrayOfTables::new();
        let old = was.and_then(Item::as_array_of_tables).unwrap_or(&none);
        return merge_list(list, key, old, new, orphans);
    }
    if let Some(table) = written.get_mut(key).and_then(Item::as_table_like_mut)
        && let Some(new) = item.as_table_like()
    {
        let old = was.and_then(Item::as_table_like).unwrap_or(&empty);
        return merge_table(table, old, new, orphans);
    }
    match (written.get_mut(key), item) {
        (Some(Item::Value(old)), Item::Value(new)) => {
            let decor = old.decor().clone();
            let mut new: Value = new.clone();
            *new.decor_mut() = decor;
            *old = new;
        }
        (_, item) => {
            written.insert(key, item.clone());
        }
    }
}

/// What a table of a list is known by.
fn identity(key: &str, table: &Table) -> String {
    let text = |name: &str| table.get(name).and_then(Item::as_str).unwrap_or_default();
    match key {
        "placement" | "scatter" | "wear" => text("id").to_owned(),
        "patch" | "variation" => text("name").to_owned(),
        // One file may serve several tiles; those are then told apart by their order.
        _ => format!("{}\n{}", text("file"), text("material")),
    }
}

fn merge_list(written: &mut ArrayOfTables, key: &str, before: &ArrayOfTables, after: &ArrayOfTables, orphans: &mut String) {
    let mut old: Vec<Option<(usize, Table)>> = std::mem::take(written).into_iter().enumerate().map(Some).collect();
    let positions: Vec<Option<isize>> = old.iter().flatten().map(|(_, table)| table.position()).collect();
    let mut base: Vec<Option<&Table>> = before.iter().map(Some).collect();
    let mut kept: Vec<(Option<usize>, Table)> = Vec::new();
    for new in after {
        let wanted = identity(key, new);
        let known = old.iter_mut().find(|slot| slot.as_ref().is_some_and(|(_, table)| identity(key, table) == wanted));
        let was = base.iter_mut().find(|slot| slot.is_some_and(|table| identity(key, table) == wanted)).and_then(Option::take);
        if let (Some((place, mut table)), Some(was)) = (known.and_then(Option::take), was) {
            merge_table(&mut table, was, new, orphans);
            kept.push((Some(place), table));
        } else {
            kept.push((None, new.clone()));
        }
    }
    for (place, table) in old.into_iter().flatten() {
        save_comments(place, &table, &mut kept, orphans);
    }
    let order: Vec<usize> = kept.iter().filter_map(|(place, _)| *place).collect();
    if !order.is_sorted() {
        let mut free = positions.into_iter().flatten();
        for (place, table) in &mut kept {
            let position = if place.is_some() { free.next() } else { None };
            table.set_position(position);
            follow_parent(table);
        }
    }
    written.extend(kept.into_iter().map(|(_, table)| table));
}

/// Tables inside a moved table are printed right behind it.
fn follow_parent(table: &mut Table) {
    for (_, item) in table.iter_mut() {
        if let Item::Table(inner) = item {
            inner.set_position(None);
            follow_parent(inner);
        }
    }
}

/// The comment right above a removed table goes with it; comments set apart by an empty line belong to the file, and
/// move to the next table that stays.
fn save_comments(place: usize, table: &Table, kept: &mut [(Option<usize>, Table)], orphans: &mut String) {
    let prefix = table.decor().prefix().and_then(|raw| raw.as_str()).unwrap_or_default();
    let Some((apart, _)) = prefix.rsplit_once("\n\n") else { return };
    if !apart.contains('#') {
        return;
    }
    let apart = format!("{apart}\n");
    let next = kept.iter_mut().find(|(other, _)| other.is_some_and(|other| other > place));
    if let Some((_, next)) = next {
        let own = next.decor().prefix().and_then(|raw| raw.as_str()).unwrap_or_default().to_owned();
        next.decor_mut().set_prefix(format!("{apart}{own}"));
    } else {
        orphans.push_str(&apart);
    }
}
