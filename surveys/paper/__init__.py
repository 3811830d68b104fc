"""The log sheet on paper: what one rig needs, in the order a measurer walks, as a PDF."""
