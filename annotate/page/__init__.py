"""The viewer page beside a film, and the study club's site over many cases.

data      the values a page shows             (pure)
cues      WebVTT text -> cues                 (pure)
casebar   time map -> what the case bar draws (pure)
view      values -> what templates and scripts take (pure)
safe      escaping, addresses, policy         (pure)
ranges    the Range field of RFC 9110         (pure)
folder    a case's output folder -> PageData
pages     the templates and the scripts that the package carries
viewer    one case's page
records   a page's values -> one row of the club, and its search terms (pure)
feed      the Atom feed                       (pure)
club      the whole site
serve     the site over HTTP
"""
