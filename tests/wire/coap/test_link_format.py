"""Lists of links: RFC 6690's examples, its grammar, its filters."""

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hil.wire.coap.link_format import Link, LinkError, parse, render, select

# RFC 6690 §5, the answer to GET /.well-known/core
EXAMPLE = """</sensors>;ct=40;title="Sensor Index",
</sensors/temp>;rt="temperature-c";if="sensor",
</sensors/light>;rt="light-lux";if="sensor",
<http://www.example.com/sensors/t123>;anchor="/sensors/temp"
;rel="describedby",
</t>;anchor="/sensors/temp";rel="alternate"
"""


def test_the_example_of_the_rfc():
    assert (
        Link("/sensors", (("ct", "40"), ("title", "Sensor Index"))),
        Link("/sensors/temp", (("rt", "temperature-c"), ("if", "sensor"))),
        Link("/sensors/light", (("rt", "light-lux"), ("if", "sensor"))),
        Link(
            "http://www.example.com/sensors/t123",
            (("anchor", "/sensors/temp"), ("rel", "describedby")),
        ),
        Link("/t", (("anchor", "/sensors/temp"), ("rel", "alternate"))),
    ) == parse(EXAMPLE)


def test_what_was_parsed_renders_as_it_stood():
    assert EXAMPLE.replace("\n", "") == render(parse(EXAMPLE))


# RFC 6690 §5: GET /.well-known/core?rt=light-lux
def test_the_filter_of_the_rfc():
    assert (
        render(select(parse(EXAMPLE), ["rt=light-lux"]))
        == '</sensors/light>;rt="light-lux";if="sensor"'
    )


# RFC 6690 §4.1: a star at the end matches a prefix; several words in an attribute match each
@pytest.mark.parametrize(
    ("query", "targets"),
    [
        (["href=/sensors/temp"], ["/sensors/temp"]),
        (["href=/sensors*"], ["/sensors", "/sensors/temp", "/sensors/light"]),
        (["rt=temp*"], ["/sensors/temp"]),
        (["rt=*"], ["/sensors/temp", "/sensors/light"]),
        (["anchor=/sensors/temp"], ["http://www.example.com/sensors/t123", "/t"]),
        (["if=sensor", "rt=light-lux"], ["/sensors/light"]),
        (["ct=40"], ["/sensors"]),
        (["ct"], ["/sensors"]),
        (["title=Sensor Index"], ["/sensors"]),
        (["rt=nothing"], []),
        (["obs"], []),
    ],
)
def test_filters(query, targets):
    assert targets == [link.target for link in select(parse(EXAMPLE), query)]


def test_words_values_and_presence():
    [link] = parse('</a>;rt="one two";obs;ct="0 50";sz=7')

    assert (link.words("rt"), link.words("ct")) == (("one", "two"), ("0", "50"))
    assert (
        link.value("sz"),
        link.value("obs"),
        link.has("obs"),
        link.has("if"),
    ) == ("7", None, True, False)
    assert [one.target for one in select([link], ["rt=two"])] == ["/a"]


# RFC 6690 §3: rt, if and sz must not stand twice; what stands again is ignored
def test_what_must_stand_once_counts_once():
    assert parse("</a>;rt=a;rt=b;rel=x;rel=y")[0].attributes == (
        ("rt", "a"),
        ("rel", "x"),
        ("rel", "y"),
    )


def test_quotes_commas_and_semicolons_within_a_value():
    [one, two] = parse(r'</a>;title="say \"a, b; <c>\" \\",</b>')

    assert (one.value("title"), two.target) == ('say "a, b; <c>" \\', "/b")
    assert str(one) == r'</a>;title="say \"a, b; <c>\" \\"'


def test_an_empty_list_and_blanks():
    assert () == parse("") == parse(" \r\n")
    assert (Link("/a", (("rt", "x"),)),) == parse(" <\x2fa> ; rt = x ")


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("/a", "a link in angle brackets is expected at character 0"),
        ("</a", "a link in angle brackets is expected at character 0"),
        ("</a>,", "a link is expected behind the comma at character 5"),
        ("</a> </b>", "a comma or a semicolon is expected at character 5"),
        ("</a>;", "the name of an attribute is expected at character 5"),
        ("</a>;=x", "the name of an attribute is expected at character 5"),
        ("</a>;rt=", "a value is expected at character 8"),
        ('</a>;rt="x', "a value is expected at character 8"),
    ],
)
def test_what_is_no_list_of_links_is_refused_with_the_place(text, why):
    with pytest.raises(LinkError) as refusal:
        parse(text)

    assert why == str(refusal.value)


names = st.text("abcdefghijklmnopqrstuvwxyz-", min_size=1, max_size=8)
links = st.builds(
    Link,
    st.text(st.characters(exclude_characters="<>", codec="utf-8"), max_size=12),
    st.lists(
        st.tuples(names, st.none() | st.text(max_size=12)), max_size=4, unique_by=lambda one: one[0]
    ).map(tuple),
)


@given(st.lists(links, max_size=4))
@settings(max_examples=100)
def test_any_list_of_links_comes_back(made):
    assert tuple(made) == parse(render(made))


@given(st.text(max_size=40) | st.text('<>/a;,="\\ *', max_size=20))
@settings(max_examples=200)
def test_any_text_is_read_or_refused(text):
    try:
        found = parse(text)
    except LinkError:
        return

    assert found == parse(render(found))
