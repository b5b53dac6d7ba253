"""Page."""

import streamlit as st

st.title("how", anchor=False)
