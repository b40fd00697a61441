//! `tatter weave`: cloth from a weaver's numbers, as a person or a script asks for it.

use crate::workshop::{Tried, Workshop};

#[test]
fn a_torn_patch_says_what_it_is() -> Tried<()> {
    let shop = Workshop::new()?;
    let told =
        ["weave", "canvas", "--damage", "rip:length=10,width=4", "--texels", "200", "--width-mm", "24", "-o", "torn.patch"];
    let run = shop.run(&[&told[..], &["--photo", "torn.png", "--json"]].concat())?;
    assert_eq!(run.code, Some(0), "{}", run.err);
    let report = run.json()?;
    for key in
        ["patch", "texels", "size_mm", "mm_per_texel", "grain_deg", "ends_per_cm", "picks_per_cm", "g_per_m2", "maps", "photo"]
    {
        assert!(!report[key].is_null(), "{key} is missing: {report}");
    }
    assert_eq!(report["texels"], serde_json::json!([200, 200]), "as asked");
    for file in ["torn.patch/patch.toml", "torn.patch/opacity.png", "torn.patch/thread_id.png", "torn.png"] {
        assert!(shop.path(file).is_file(), "{file}");
    }
    Ok(())
}

#[test]
fn what_cannot_be_woven_is_refused_before_anything_is_written() -> Tried<()> {
    let shop = Workshop::new()?;
    let cases: [(&[&str], &str); 9] = [
        (&["canvas", "--photo", "torn.tif"], "ends in .png or .jpg"),
        (&["canvas", "--photo", "torn.jpg", "--cast", "1,0,1"], "from 0.25 to 4"),
        (&["canvas", "--photo", "torn.jpg", "--jpeg-quality", "0"], "from 1 to 100"),
        (&["denim", "--picks-per-cm", "60"], "at most"),
        (&["chainmail"], "no starting cloth"),
        (&["canvas", "--weave", "111/010"], "does not hold together"),
        (&["canvas", "--warp", "20"], "no yarn count"),
        (&["canvas", "--damage", "rip:age=7"], "means nothing"),
        (&["jersey", "--damage", "snag"], "needs woven cloth"),
    ];
    for (told, says) in cases {
        let run = shop.run(&[&["weave"], told, &["--texels", "128", "-o", "no.patch"]].concat())?;
        assert_eq!(run.code, Some(2), "{told:?}: {}", run.err);
        assert!(run.err.contains(says), "{told:?}: {}", run.err);
        assert!(!shop.path("no.patch").exists(), "{told:?} left something");
    }
    Ok(())
}
