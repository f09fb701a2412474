"""What is told stands on a page in both unit systems, and nothing of it can become mark-up."""

from dashboards.table_cells import words
from pipeline.messages import Place, as_written, message
from pipeline.why import SampleSays


def test_a_figure_is_given_in_both_systems_and_a_name_is_escaped() -> None:
    told = message(SampleSays.SAMPLE, sample="<b>S</b>", reel="R-10 & 11", at=Place(304.8))
    assert str(words(told)) == (
        'Sample &lt;b&gt;S&lt;/b&gt;, cut from reel R-10 &amp; 11 <span class="us">1,000.0\u00a0ft</span>'
        '<span class="si">304.8\u00a0m</span> from its outer end'
    )


def test_what_a_person_wrote_stays_as_written() -> None:
    assert str(words(as_written("12.5 m off, <i>seen</i>"))) == "12.5 m off, &lt;i&gt;seen&lt;/i&gt;"
    assert str(words("")) == ""
