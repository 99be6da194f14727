"""What benchrig offers to Python: an open radio, a unit, a link, and the steps of plans as their methods.

One engine is behind plans and Python: every method is a step of a plan, and nothing here judges.

what is public   opening (open_radio), radio, unit, link, stream; verbs (what the first three share), done (what comes back, and
                 what is raised), words (Secret)
a step           place (who asks), words (data -> nodes), reading (nodes -> a step of a plan), run (carries it out)
a run            runner (what comes before and after the steps), walk (the way through them), opened (a step that Python holds
                 open), hiding (secrets)
"""
