"""What a reader of a screen under test sees."""


def fine(app):
    """Return the app that has run, after a look that nothing was raised."""
    assert not app.exception, [e.message for e in app.exception]
    return app


def text_of(app):
    """Return all sentences on the screen."""
    shown = [*app.markdown, *app.caption, *app.success, *app.warning, *app.error, *app.info]
    # What a reader sees, without the signs that keep markdown from reading it otherwise.
    return " ".join(element.value for element in shown).replace("\\", "")
