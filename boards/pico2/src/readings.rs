pub fn tables() -> String {
    String::new()
}
