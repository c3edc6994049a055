//! The command that gives the same again, out of the words of this one.

/// Options that change nothing of a result, each with a value of its own.
const IDLE: [&str; 3] = ["--threads", "--color", "--report"];

/// This command in words that a shell takes, without [`IDLE`] ones: the same result has the same words.
pub(crate) fn command() -> String {
    let words = std::env::args_os().skip(1);
    of(words.map(|word| word.to_string_lossy().into_owned()))
}

fn of(words: impl Iterator<Item = String>) -> String {
    let mut text = "trueonset".to_owned();
    let mut words = words;
    while let Some(word) = words.next() {
        let name = word.split('=').next().unwrap_or("");
        if IDLE.contains(&name) {
            if name == word {
                let _its_value = words.next();
            }
            continue;
        }
        text.push(' ');
        text.push_str(&quoted(&word));
    }
    text
}

/// A word that a shell takes as it stands.
pub(crate) fn quoted(word: &str) -> String {
    let plain = |c: char| c.is_ascii_alphanumeric() || "-_./=,:%+@".contains(c);
    if !word.is_empty() && word.chars().all(plain) {
        word.to_owned()
    } else {
        format!("'{}'", word.replace('\'', "'\\''"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stay_whole_and_idle_options_go() {
        let words = [
            "sweep",
            "my scenario.toml",
            "--threads",
            "4",
            "--vary",
            "a=1,2",
            "--report=x.html",
            "--seed",
            "it's",
            "--color",
            "never",
        ];
        assert_eq!(
            of(words.into_iter().map(str::to_owned)),
            "trueonset sweep 'my scenario.toml' --vary a=1,2 --seed 'it'\\''s'"
        );
    }
}
