"""``gwnet help``: the pages of the documentation, in the terminal."""

import click


@click.command("help")
@click.argument("topic", nargs=-1, metavar="[TOPIC]")
def command(topic: tuple[str, ...]) -> None:
    """Read the documentation: all topics, or the page of one.

    TOPIC is the name of a page. Without one, the topics are listed with one line each.
    """
    from gwnet.cli import pages

    name = "-".join(topic).lower() or pages.INDEX
    try:
        page = pages.read_page(name)
    except KeyError:
        raise click.UsageError(pages.describe_unknown(" ".join(topic))) from None
    click.echo(pages.render_page(page))
